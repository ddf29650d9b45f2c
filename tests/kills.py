"""Commands killed at random moments: ``python tests/kills.py [COUNT [SEED [WORD ...]]]``.

A command on a very small joint is ended by SIGINT, SIGTERM or SIGKILL: anywhere, while its result
is written, while it compiles, or a worker of its alone. Then it is run again, or resumed. The
result must have the bytes of an unbroken one (`wall_s` aside), nothing else may be left, and no
earlier result be lost. It prints a line a kind for DEVELOPERS. Words are names of jobs and kinds,
as in ``run window writing``; without them all are tried.

A try takes some 10 s of a core, one while compiling a minute. With the word ``light`` it takes one:
runs alone, in processes forked after all is imported, with pictures that are waited for and not
drawn.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from time import monotonic, sleep
from typing import Any

import lapheat.api  # all that a run takes, once
import lapheat.cli.app
import lapheat.march.steppers.compiled  # noqa: F401 - loaded before the first child
from lapheat import cli
from lapheat.report import figures, sheet

ROOT = Path(__file__).parents[1]
START = "from lapheat.cli import main; main()"
LIGHT = "light" in sys.argv
KINDS = ("writing", "anywhere", "worker", "compiling")
NAMED = [word for word in sys.argv[3:] if word != "light" and word not in KINDS]
ASKED = [word for word in sys.argv[3:] if word in KINDS]
ENDS = (signal.SIGINT, signal.SIGTERM, signal.SIGKILL)
LONGEST = 10.0  # [s] of processor time from a signal to the end, as the machine may be busy
PATIENCE = 600.0  # [s] by the clock
BOOT = 0.0 if LIGHT else 0.1  # [s] of processor time: Python's own start
CASE = (ROOT / "tests/study/tiny.toml").read_text("utf-8").replace("standard", "coarse")


@dataclass(frozen=True)
class Job:
    """A command line, and what it takes to go on after a kill."""

    name: str
    words: tuple[str, ...]
    again: tuple[str, ...] = ()

    def line(self, where: Path) -> list[str]:
        command, *rest = self.words
        line = [command, str(where / "tiny.toml"), *rest, "--out", str(where / "out")]
        return [sys.executable, "-c", START, *line]


AXES = ("--vary", "arc.current=30 A:60 A:2", "--vary", "travel.speed=2 mm/s:4 mm/s:2")
JOBS = (
    Job("run", ("run",)),
    Job("run --checkpoint", ("run", "--checkpoint", "0.02 s"), ("--resume",)),
    Job("risk", ("risk", "--samples", "16", "--workers", "2"), ("--resume",)),
    Job("window", ("window", *AXES, "--workers", "2"), ("--resume",)),
)


def environment(cache: Path | None = None) -> dict[str, str]:
    """Environment of a command; `cache` an own place for machine code."""
    more = {"PYTHONPATH": str(ROOT / "sim"), "MPLBACKEND": "Agg", "OPENBLAS_NUM_THREADS": "1"}
    return os.environ | more | ({} if cache is None else {"NUMBA_CACHE_DIR": str(cache)})


def bytes_of(folder: Path) -> dict[str, bytes]:
    """Every file of a result by its name, without the time that a march took."""
    found = {}
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            text = path.read_bytes()
            text = re.sub(rb'"wall_s": [\d.e-]+', b"", text)
            text = re.sub(rb'<th scope="row">wall_s</th>.*?</tr>', b"", text)
            found[str(path.relative_to(folder))] = text
    return found


def spent(process: int) -> float:
    """Processor time of a process so far [s]."""
    try:
        told = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def ended(process: Any, within: float) -> tuple[int, str]:
    """Status of a process and what it said; one that does not end in time is a fault."""
    begun, until = spent(process.pid), monotonic() + PATIENCE
    while process.poll() is None:
        if spent(process.pid) - begun > within or monotonic() > until:
            process.kill()
            raise AssertionError(f"no end {within} s after the signal")
        sleep(0.005)
    out, err = process.communicate(timeout=60.0)  # workers without a master see it soon
    assert "Traceback" not in out + err, err
    return process.returncode, err


class Forked:
    """A command in a fork of this process; as much of `subprocess.Popen` as is used here."""

    def __init__(self, line: list[str], where: Path) -> None:
        self.returncode: int | None = None
        self.said = where.parent / f"{where.name}.said"
        self.pid = os.fork()
        if self.pid == 0:
            with self.said.open("w") as said:
                os.dup2(said.fileno(), 1)
                os.dup2(said.fileno(), 2)
            os.chdir(where)
            sys.argv = ["lapheat", *line[3:]]
            status = 1
            try:
                cli.main()
            except SystemExit as left:
                status = int(left.code or 0)
            except BaseException:
                traceback.print_exc()
            finally:
                sys.stdout.flush()
                sys.stderr.flush()
                os._exit(status)

    def poll(self) -> int | None:
        if self.returncode is None:
            done, status = os.waitpid(self.pid, os.WNOHANG)
            if done:
                self.returncode = os.waitstatus_to_exitcode(status)
        return self.returncode

    def send_signal(self, number: int) -> None:
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        self.send_signal(signal.SIGKILL)

    def communicate(self, timeout: float) -> tuple[str, str]:
        until = monotonic() + timeout
        while self.poll() is None:
            if monotonic() > until:
                raise subprocess.TimeoutExpired("lapheat", timeout)
            sleep(0.002)
        return "", self.said.read_text("utf-8")


def undrawn() -> None:
    """Put waiting and a few bytes in the place of drawing; load what a run loads on its way."""
    sys.argv = sys.argv[:1]  # FiPy looks for flags of its own
    for name in ("fipy", "scipy.optimize", "rich.progress", "lapheat.problem.corners"):
        import_module(name)

    def write(names: tuple[str, ...], folder: Path) -> tuple[Path, ...]:
        folder.mkdir(exist_ok=True)
        for name in names:
            sleep(0.05)
            (folder / name).write_bytes(name.encode() * 1000)
        return tuple(folder / name for name in names)

    # stand-ins take less than what they stand for, hence `assignment`
    pictures = ("peaks.png", "peaks.svg", "section.png", "section.svg")
    figures.save_figures = lambda _, folder: write(pictures, folder)  # type: ignore[assignment]
    sheets = ("sheet.pdf", "sheet.png")
    sheet.save_sheet = lambda *given: write(sheets, given[2])  # type: ignore[assignment]


def started(job: Job, where: Path, cache: Path | None = None) -> Any:
    """Start a command."""
    if LIGHT:
        return Forked(job.line(where), where)
    pipe = subprocess.PIPE
    return subprocess.Popen(
        job.line(where), env=environment(cache), stdout=pipe, stderr=pipe, text=True, cwd=where,
    )  # fmt: skip


def children(process: int) -> list[int]:
    """Workers that a process has started; Python starts a tracker beside them."""
    with suppress(OSError):
        listed = Path(f"/proc/{process}/task/{process}/children").read_text().split()
        lines = {int(child): Path(f"/proc/{child}/cmdline").read_bytes() for child in listed}
        return [child for child, line in lines.items() if b"spawn_main" in line]
    return []


def writing(where: Path) -> bool:
    """Whether a result or a state is being written."""
    return any(path.name.endswith((".new", ".old")) for path in where.iterdir())


def anywhere(chance: random.Random, process: Any, took: float, _: Path) -> None:
    """Wait for any moment of a command that took so long."""
    while spent(process.pid) < BOOT and process.poll() is None:
        sleep(0.005)
    until = monotonic() + chance.uniform(0.0, took)
    while monotonic() < until and process.poll() is None:
        sleep(0.005)


def in_writing(chance: random.Random, process: Any, took: float, where: Path) -> None:
    """Wait until it writes, and then some of that time."""
    while not writing(where) and process.poll() is None:
        sleep(0.001)
    # drawing takes most of a small run; moving into place is over in no time
    until = 0.5 if LIGHT else 0.5 * took
    sleep(chance.choice((0.0, 0.002, chance.uniform(0.0, until))))


def check(where: Path, whole: dict[str, bytes], earlier: bool) -> None:
    """Hold what a killed command left to what it may leave."""
    out = where / "out"
    if out.exists():
        assert bytes_of(out) == whole, "half a result"
    elif earlier:
        hidden = [path for path in where.iterdir() if path.name.endswith(".old")]
        assert len(hidden) == 1, "an earlier result is lost"
        assert bytes_of(hidden[0]) == whole, "an earlier result is damaged"


def went_on(job: Job, where: Path, whole: dict[str, bytes], cache: Path | None = None) -> None:
    """Run it again, and compare."""
    kept = [path for path in where.glob("out.*") if path.suffix in (".checkpoint", ".jsonl")]
    status, err = ended(started(replace(job, words=job.words + (job.again if kept else ())), where,
                                cache), 300.0)  # fmt: skip
    assert status == 0, err
    found = bytes_of(where / "out")
    assert found.keys() == whole.keys(), (found.keys(), whole.keys())
    assert found == whole, [name for name in whole if found[name] != whole[name]]
    left = {path.name for path in where.iterdir()} - {"tiny.toml", "out", "cache"}
    assert not left, f"left behind: {left}"


@dataclass
class Unbroken:
    """What a job gives that nobody disturbs, and how long it takes [s]."""

    files: dict[str, bytes]
    took: float


def unbroken(job: Job, where: Path) -> Unbroken:
    """Run a job to its end, twice: the first may compile."""
    for _ in range(2):
        begun = monotonic()
        status, err = ended(started(job, where), 600.0)
        assert status == 0, err
    return Unbroken(bytes_of(where / "out"), monotonic() - begun)


def functions_in(cache: Path) -> int:
    """Number of functions whose machine code is kept whole."""
    return sum(1 for _ in cache.rglob("*.nbi"))


def compiled(where: Path) -> tuple[float, int]:
    """Compile all that a run needs: processor time [s], and number of functions."""
    process = started(JOBS[0], where, where / "cache")
    took = 0.0
    while process.poll() is None:
        took = max(took, spent(process.pid))
        sleep(0.05)
    assert process.returncode == 0, process.communicate()
    return took, functions_in(where / "cache")


def kill_once(
    chance: random.Random, job: Job, whole: Unbroken, where: Path, wait: Callable[..., None]
) -> str:
    """Kill a command once, and run it again; returns what became of it."""
    earlier = chance.random() < 0.5
    if earlier:
        shutil.copytree(where.parent / job.name / "out", where / "out")
    process = started(job, where)
    wait(chance, process, whole.took, where)
    end = chance.choice(ENDS)
    process.send_signal(end)
    status, _ = ended(process, LONGEST)
    assert status in (0, 130, -end), status
    check(where, whole.files, earlier)
    went_on(job, where, whole.files)
    return f"{end.name}{' (too late)' if status == 0 else ''}"


def kill_worker(chance: random.Random, job: Job, whole: Unbroken, where: Path) -> str:
    """Kill a worker alone; the command must end well and say the same."""
    process = started(job, where)
    anywhere(chance, process, whole.took, where)
    found = children(process.pid)
    if found:
        os.kill(chance.choice(found), signal.SIGKILL)
    status, err = ended(process, 60.0)
    assert status == 0, err
    assert bytes_of(where / "out") == whole.files, "another result"
    return "worker killed" if found else "no worker then"


def kill_compiling(
    chance: random.Random, job: Job, whole: Unbroken, where: Path, all_: tuple[float, int]
) -> str:
    """Kill a command that has to compile first; the next one goes on with what it left."""
    cache = where / "cache"
    process = started(job, where, cache)
    until = chance.uniform(0.0, all_[0])  # of processor time, as the machine may be busy
    while process.poll() is None and (functions_in(cache) == 0 or spent(process.pid) < until):
        sleep(0.005)
    end = chance.choice(ENDS)
    process.send_signal(end)
    ended(process, LONGEST)
    late = functions_in(cache) == all_[1]
    went_on(job, where, whole.files, cache)
    return f"{end.name}{' (compiled)' if late else ''}"


def plan(chance: random.Random, count: int, jobs: list[Job]) -> Iterator[tuple[str, Job]]:
    """Say what is killed when: a third while writing, some workers, a few while compiling."""
    studies = [job for job in jobs if "--workers" in job.words]
    for number in range(count):
        if ASKED:
            kind = ASKED[number % len(ASKED)]
            yield kind, chance.choice(studies if kind == "worker" else jobs)
        elif not LIGHT and number % 25 == 24:
            yield "compiling", JOBS[0]
        elif studies and number % 8 == 7:
            yield "worker", chance.choice(studies)
        else:
            yield ("writing", "anywhere", "anywhere")[number % 3], chance.choice(jobs)


def main() -> None:
    """Kill, and tell."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    chance = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 0)
    told: Counter[tuple[str, str, str]] = Counter()
    faults = 0
    jobs = [job for job in JOBS[: 2 if LIGHT else None] if not NAMED or job.name in NAMED]
    if LIGHT:
        undrawn()
    with tempfile.TemporaryDirectory() as made:
        base = Path(made)
        whole = {}
        for job in jobs:
            (base / job.name).mkdir()
            (base / job.name / "tiny.toml").write_text(CASE, "utf-8")
            whole[job.name] = unbroken(job, base / job.name)
            print(f"{job.name}: {whole[job.name].took:.1f} s undisturbed", flush=True)
        all_: tuple[float, int] | None = None
        for number, (kind, job) in enumerate(plan(chance, count, jobs)):
            where = base / f"{number}"
            where.mkdir()
            (where / "tiny.toml").write_text(CASE, "utf-8")
            try:
                if kind == "worker":
                    became = kill_worker(chance, job, whole[job.name], where)
                elif kind == "compiling":
                    all_ = all_ or compiled(base / JOBS[0].name)
                    became = kill_compiling(chance, job, whole[job.name], where, all_)
                else:
                    wait = in_writing if kind == "writing" else anywhere
                    became = kill_once(chance, job, whole[job.name], where, wait)
            except AssertionError as error:
                became = "FAULT"
                faults += 1
                print(f"{number} {kind} {job.name}: {error}", flush=True)
            shutil.rmtree(where)
            told[kind, job.name, became] += 1
            if number % 20 == 19:
                print(f"{number + 1} kills, {faults} faults", flush=True)
    for (kind, name, became), times in sorted(told.items()):
        print(f"{kind:10} {name:17} {became:20} {times}")
    print(f"{count} kills, {faults} faults")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
