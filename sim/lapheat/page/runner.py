"""One job at a time, in a process that can be killed at once; the others wait in their order."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import sys
from contextlib import suppress
from dataclasses import asdict, replace
from time import time
from typing import Any

from .jobs import OPEN, Job, Jobs

__all__ = ["Runner"]

LONGEST = 1_000_000  # [bytes] of a line from the worker
WORN = 25  # jobs after which a worker is replaced, so that nothing it leaks can add up


class Runner:
    """Works off the jobs that wait.

    Parameters
    ----------
    jobs : what there is to do

    Attributes
    ----------
    progress : what the worker last told of the running job: `text`, `share`, `left_s`
    """

    def __init__(self, jobs: Jobs) -> None:
        self.jobs = jobs
        self.progress: dict[str, Any] = {}
        self._worker: asyncio.subprocess.Process | None = None
        self._woken = asyncio.Event()
        self._done = 0
        self._running: str | None = None

    def wake(self) -> None:
        """Look for work: a job was added."""
        self._woken.set()

    async def work(self) -> None:
        """Run jobs until cancelled."""
        try:
            with suppress(OSError):
                await self.warm()  # so that it is ready before the first job
            while True:
                job = self.jobs.next()
                if job is None:
                    self._woken.clear()
                    await self._woken.wait()
                    continue
                try:
                    await self._carry_out(job)
                except OSError as error:  # a full disk: the jobs behind this one must not wait
                    why = error.strerror or str(error)
                    self.jobs.fail(job, f"its state could not be kept: {why}")
        finally:
            await self._end()

    async def warm(self) -> None:
        """Start the worker if there is none."""
        if self._worker is None or self._worker.returncode is not None:
            self._done = 0
            self._worker = await asyncio.create_subprocess_exec(
                *(sys.executable, "-m", "lapheat.page.worker"),
                stdin=asyncio.subprocess.PIPE,
                stdout=asyncio.subprocess.PIPE,
                limit=LONGEST,
                start_new_session=os.name == "posix",
                env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
            )

    async def _carry_out(self, job: Job) -> None:
        self.jobs.put(replace(job, state="running"))
        self._running, self.progress = job.id, {"text": "starting"}
        told: dict[str, Any] = {}
        try:
            await self.warm()
            if self._open(job):  # not stopped while the worker started
                told = await self._asked(job)
        except (OSError, ValueError) as error:  # it died, or said what no worker says
            told = {"state": "failed", "summary": f"the worker process failed: {error}"}
        finally:
            self._running, self.progress = None, {}
        now = self._open(job)
        if now is None:
            return
        if not told:
            told = {"state": "failed", "summary": "the worker process died: out of memory?"}
        names = ("state", "summary", "works", "undecided")
        kept = {name: told[name] for name in names if name in told}
        self.jobs.put(replace(now, ended=time(), **kept))
        self._done += 1
        if self._done >= WORN:
            await self._end()

    def _open(self, job: Job) -> Job | None:
        """Latest state of a job; None if it was stopped or removed meanwhile."""
        now = self.jobs.get(job.id)
        return now if now is not None and now.state in OPEN else None

    async def _asked(self, job: Job) -> dict[str, Any]:
        """Hand a job to the worker and follow it; nothing if it dies."""
        worker = self._worker
        if worker is None or worker.stdin is None or worker.stdout is None:
            return {}
        asked = {**asdict(job), "folder": str(self.jobs.at(job)), **self._of_others(job)}
        worker.stdin.write((json.dumps(asked) + "\n").encode())
        await worker.stdin.drain()
        while line := await worker.stdout.readline():
            told: dict[str, Any] = json.loads(line)
            if told.get("id") != job.id:
                continue
            if "state" in told:
                return told
            self.progress = told
        return {}

    def _of_others(self, job: Job) -> dict[str, Any]:
        """Folders and names of the runs that a comparison is of."""
        runs = [self.jobs.get(name) for name in job.options.get("runs", ())]
        there = [run for run in runs if run is not None]
        folders = [str(self.jobs.at(run) / "result") for run in there]
        names = [f"{index}. {run.title}" for index, run in enumerate(there, start=1)]
        return {"folders": folders, "names": names}

    async def stop(self, job: Job) -> None:
        """Stop a job that waits or runs, at once."""
        if job.state not in OPEN:
            return
        self.jobs.put(replace(job, state="stopped", ended=time(), summary="stopped"))
        if self._running == job.id:
            await self._end()

    async def _end(self) -> None:
        """Kill the worker and whatever it started."""
        worker, self._worker = self._worker, None
        if worker is None:
            return
        with suppress(ProcessLookupError, PermissionError):
            if os.name == "posix":
                os.killpg(worker.pid, signal.SIGKILL)
            else:
                worker.kill()
        await worker.wait()
