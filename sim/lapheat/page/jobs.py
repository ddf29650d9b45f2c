"""Jobs on disk: a folder each, its state in one small file that is replaced whole."""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass, field, fields, replace
from pathlib import Path
from time import time
from typing import Any

__all__ = ["KINDS", "OPEN", "Job", "Jobs", "write_whole"]

KINDS = ("run", "explain", "find", "window", "risk", "sequences", "calibrate", "compare")
OPEN = ("waiting", "running")
ID = re.compile(r"[0-9a-f]{16}")
MOST = 500  # jobs kept; more are refused until some are removed


@dataclass(frozen=True)
class Job:
    """One piece of work.

    Attributes
    ----------
    id : random, also the name of its folder
    kind : one of `KINDS`
    title : of its case
    options : what was asked beside the case
    state : "waiting", "running", "done", "failed" or "stopped"
    made, ended : [s] since 1970
    summary : the answer in a sentence, or why there is none
    works : whether base and filler hold; None if that is not the question
    undecided : whether all that fails in a run is too close to its limit to call
    """

    id: str
    kind: str
    title: str
    options: Mapping[str, Any] = field(default_factory=dict)
    state: str = "waiting"
    made: float = 0.0
    ended: float = 0.0
    summary: str = ""
    works: bool | None = None
    undecided: bool = False


class Jobs:
    """All jobs of a data folder, the oldest first.

    Parameters
    ----------
    folder : holds a folder a job

    Attributes
    ----------
    version : grows with every change, from another number after a restart
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.version = secrets.randbelow(2**40)
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        self._jobs = {job.id: job for job in sorted(self._found(), key=lambda job: job.made)}

    def _found(self) -> Iterator[Job]:
        """Jobs that are on disk; one that was at work when its server died waits again."""
        for path in self.folder.iterdir():
            if not ID.fullmatch(path.name) or path.is_symlink():
                continue
            try:
                told = json.loads((path / "job.json").read_text("utf-8"))
                known = {each.name: told[each.name] for each in fields(Job) if each.name in told}
                job = Job(**known)
            except (OSError, ValueError, TypeError):
                continue  # torn before its first state was whole: nothing was promised
            if job.id == path.name and job.kind in KINDS:
                yield replace(job, state="waiting") if job.state == "running" else job

    def __iter__(self) -> Iterator[Job]:
        return iter(tuple(self._jobs.values()))

    def get(self, name: str) -> Job | None:
        """Job of that id, or None."""
        return self._jobs.get(name)

    def at(self, job: Job) -> Path:
        """Folder of a job."""
        return self.folder / job.id

    def add(
        self, kind: str, title: str, options: Mapping[str, Any], texts: Mapping[str, str]
    ) -> Job:
        """Put a new job last, with the files it begins from.

        Raises
        ------
        ValueError
            There are too many.
        """
        if len(self._jobs) >= MOST:
            raise ValueError(f"there are {MOST} runs already: remove some first")
        job = Job(secrets.token_hex(8), kind, title, dict(options), made=time())
        folder = self.at(job)
        folder.mkdir(mode=0o700)
        try:
            for name, text in texts.items():
                (folder / name).write_text(text, "utf-8", newline="")
            self.put(job)
        except BaseException:
            shutil.rmtree(folder, ignore_errors=True)
            raise
        return job

    def put(self, job: Job) -> None:
        """Keep a new state of a job."""
        write_whole(self.at(job) / "job.json", json.dumps(asdict(job)))
        self._jobs[job.id] = job
        self.version += 1

    def fail(self, job: Job, why: str) -> None:
        """Count a job as failed in memory alone, where its state cannot be written."""
        if job.id in self._jobs:
            self._jobs[job.id] = replace(job, state="failed", ended=time(), summary=why)
            self.version += 1

    def remove(self, job: Job) -> None:
        """Forget a job and delete its folder."""
        del self._jobs[job.id]
        shutil.rmtree(self.at(job), ignore_errors=True)
        self.version += 1

    def next(self) -> Job | None:
        """Return the oldest that waits, if any."""
        return next((job for job in self if job.state == "waiting"), None)

    @property
    def draft(self) -> dict[str, Any] | None:
        """Form that was filled in last, for the next start."""
        try:
            told = json.loads((self.folder / "draft.json").read_text("utf-8"))
        except (OSError, ValueError):
            return None
        if not isinstance(told, dict) or not isinstance(told.get("values"), dict):
            return None
        texts = (told.get("more"), *told["values"].values())
        return told if all(isinstance(text, str) for text in texts) else None

    def keep_draft(self, values: Mapping[str, str], more: str) -> None:
        """Keep what stands in the form; it is no loss if that cannot be written."""
        with suppress(OSError):
            write_whole(self.folder / "draft.json", json.dumps({"values": values, "more": more}))

    def files(self, job: Job) -> list[str]:
        """Names of the result's files, "figures/peaks.png" for one in a folder."""
        result = self.at(job) / "result"
        found = (path for path in result.rglob("*") if path.is_file() and not path.is_symlink())
        return sorted(path.relative_to(result).as_posix() for path in found)


def write_whole(path: Path, text: str) -> None:
    """Replace a file at once: whoever reads it finds the old text or the new one."""
    number, name = tempfile.mkstemp(dir=path.parent, prefix=".new-")
    try:
        with os.fdopen(number, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
