"""Disks and permissions that fail: ``python tests/faults.py [WORD ...]``, on Linux.

Every fault is put to a command on a very small joint; root's right to pass over permissions is
dropped first. The command must end in 10 s of processor time with a status and a message of its
own, no traceback, and every file as it was: no half-written result, nothing left behind. It prints
a line a fault for DEVELOPERS.
"""

from __future__ import annotations

import ctypes
import os
import resource
import subprocess
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from shutil import rmtree
from time import monotonic

from kills import CASE, START, environment

PASS_OVER = (1, 2)  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
DROP = 24  # PR_CAPBSET_DROP
LONGEST = 10.0  # [s] of processor time, as the machine may be busy
OK, REFUSED, FAILED = 0, 2, 3


@dataclass
class Fault:
    """What is wrong, with which command, and how it may end."""

    name: str
    spoil: Callable[[Path], object]
    line: tuple[str, ...] = ("run", "tiny.toml")
    ends: tuple[int, ...] = (REFUSED,)
    limits: dict[int, int] = field(default_factory=dict)
    closed: tuple[int, ...] = ()
    leaves: tuple[str, ...] = ()  # what is kept for the next attempt


def nothing(_: Path) -> None:
    """Leave it as it is."""


def chmod(name: str, mode: int) -> Callable[[Path], object]:
    return lambda where: (where / name).chmod(mode)


def text(name: str, told: str = "mine", mode: int = 0o644) -> Callable[[Path], object]:
    def spoil(where: Path) -> None:
        (where / name).parent.mkdir(exist_ok=True)
        (where / name).write_text(told, "utf-8")
        (where / name).chmod(mode)

    return spoil


def link(name: str, to: str) -> Callable[[Path], object]:
    return lambda where: (where / name).symlink_to(to)


def folder(name: str, mode: int = 0o755) -> Callable[[Path], object]:
    return lambda where: (where / name).mkdir(mode)


def fifo(name: str) -> Callable[[Path], object]:
    return lambda where: os.mkfifo(where / name)


def both(*spoilers: Callable[[Path], object]) -> Callable[[Path], object]:
    return lambda where: [spoil(where) for spoil in spoilers]


KEEP = ("run", "tiny.toml", "--checkpoint", "0 s")
STATE, ROWS = "tiny.out.checkpoint", "tiny.risk.rows.jsonl"
RISK = ("risk", "tiny.toml", "--samples", "16", "--workers", "1")
SIZE, MEMORY, FILES = resource.RLIMIT_FSIZE, resource.RLIMIT_AS, resource.RLIMIT_NOFILE
FAULTS = (
    # the case
    Fault("case is missing", lambda where: (where / "tiny.toml").unlink()),
    Fault("case is a folder", nothing, ("run", ".")),
    Fault("case may not be read", chmod("tiny.toml", 0)),
    Fault("case is a pipe", fifo("pipe.toml"), ("run", "pipe.toml")),
    Fault("case is a dangling link", link("a.toml", "nowhere"), ("run", "a.toml")),
    Fault("case is a loop of links", link("a.toml", "a.toml"), ("run", "a.toml")),
    Fault("case is a device", nothing, ("run", "/dev/zero")),
    Fault("case is under a file", nothing, ("run", "tiny.toml/x.toml")),
    Fault("case is in a closed folder", folder("shut", 0), ("run", "shut/tiny.toml")),
    Fault("case is empty", text("tiny.toml", "")),
    # the result folder
    Fault("folder of the case is read-only", chmod(".", 0o555)),
    Fault("out is a file", text("tiny.out")),
    Fault("out is under a file", nothing, ("run", "tiny.toml", "--out", "tiny.toml/out")),
    Fault("out holds a user's file", text("tiny.out/thesis.txt")),
    Fault("out may not be read", folder("tiny.out", 0)),
    Fault("out leads to a closed folder", both(folder("shut", 0), link("tiny.out", "shut/out"))),
    Fault("out is a loop of links", link("tiny.out", "tiny.out")),
    Fault("out has 255 letters", nothing, ("run", "tiny.toml", "--out", "x" * 255)),
    Fault("out is /", nothing, ("run", "tiny.toml", "--out", "/")),
    Fault("out is here", nothing, ("run", "tiny.toml", "--out", ".")),
    Fault("out is a device", nothing, ("run", "tiny.toml", "--out", "/dev/null")),
    Fault("out is in /proc", nothing, ("run", "tiny.toml", "--out", "/proc/out")),
    Fault("out is a pipe", fifo("tiny.out")),
    Fault("figures is a file", both(text("tiny.out/outcomes.json"), text("tiny.out/figures"))),
    # a full disk
    *(
        Fault(f"files of {size} bytes at most", nothing, ends=(FAILED,), limits={SIZE: size})
        for size in (0, 100, 1000, 10_000, 50_000)
    ),
    Fault("rows on a full disk", nothing, RISK, (FAILED,), {SIZE: 2000}, leaves=(ROWS,)),
    Fault("state on a full disk", nothing, KEEP, (FAILED,), {SIZE: 20_000}),
    Fault("starter on a full disk", nothing, ("new", "a.toml"), (REFUSED, FAILED), {SIZE: 10}),
    # the kept state
    Fault("state is a folder", folder(STATE), KEEP),
    Fault("state is a link", link(STATE, "tiny.toml"), KEEP),
    Fault("state is a pipe", fifo(STATE), KEEP),
    Fault("state is a user's file", text(STATE), KEEP),
    Fault("state may not be read", text(STATE, mode=0), KEEP),
    Fault("state is torn", text(STATE, "lapheat checkpoint 1\n"), ("run", "tiny.toml", "--resume")),
    # kept rows
    Fault("rows are a folder", folder(ROWS), RISK),
    Fault("rows are a link", link(ROWS, "tiny.toml"), RISK),
    Fault("rows are a pipe", fifo(ROWS), RISK),
    Fault("rows are a user's file", text(ROWS), RISK),
    Fault("rows may not be read", text(ROWS, mode=0), RISK, (REFUSED, FAILED)),
    # a starter
    Fault("starter is there", text("a.toml"), ("new", "a.toml")),
    Fault("starter in a closed folder", folder("shut", 0), ("new", "shut/a.toml")),
    Fault("starter under a file", nothing, ("new", "tiny.toml/a.toml")),
    # little of a resource, streams
    Fault("8 open files", nothing, ("check", "tiny.toml"), (OK, REFUSED, FAILED), {FILES: 8}),
    Fault("stdout closed", nothing, ("check", "tiny.toml"), (OK,), closed=(1,)),
    Fault("stderr closed", nothing, ("check", "nowhere.toml"), (REFUSED,), closed=(2,)),
    Fault("all streams closed", nothing, ("check", "tiny.toml"), (OK,), closed=(0, 1, 2)),
)


def tree(where: Path) -> dict[str, object]:
    """Everything below a folder: files with their bytes."""
    found: dict[str, object] = {}
    for path in sorted(where.rglob("*")):
        plain = path.is_file() and not path.is_symlink()
        found[str(path.relative_to(where))] = path.read_bytes() if plain else path.lstat().st_mode
    return found


def tried(fault: Fault, where: Path) -> str:
    """Put a fault to its command; returns what it said."""
    (where / "tiny.toml").write_text(CASE, "utf-8")
    fault.spoil(where)
    before = tree(where)

    def limit() -> None:
        for what, most in fault.limits.items():
            resource.setrlimit(what, (most, most))
        for stream in fault.closed:
            os.close(stream)
        for right in PASS_OVER:  # an ordinary user has none to lose
            ctypes.CDLL(None).prctl(DROP, right, 0, 0, 0)

    begun, spent = monotonic(), resource.getrusage(resource.RUSAGE_CHILDREN)
    done = subprocess.run(
        [sys.executable, "-c", START, *fault.line], cwd=where, capture_output=True, text=True,
        env=environment(), preexec_fn=limit, timeout=600, check=False, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    cpu = after.ru_utime + after.ru_stime - spent.ru_utime - spent.ru_stime
    where.chmod(0o755)
    said = (done.stderr.strip() or done.stdout.strip()).splitlines()
    assert "Traceback" not in done.stdout + done.stderr, done.stderr
    assert done.returncode in fault.ends, (done.returncode, done.stderr)
    assert done.returncode == OK or said or 2 in fault.closed, "nothing was said"
    assert cpu < LONGEST, f"{cpu:.1f} s of processor time"
    found = {name: held for name, held in tree(where).items() if name not in fault.leaves}
    assert found == before, sorted(set(found) ^ set(before))
    return f"{done.returncode}  {monotonic() - begun:4.1f} s  {said[-1][:90] if said else ''}"


def main() -> None:
    """Try every fault, and tell."""
    wanted, faults = sys.argv[1:], 0
    with tempfile.TemporaryDirectory() as made:
        base = Path(made)
        for number, fault in enumerate(FAULTS):
            if wanted and not any(word in fault.name for word in wanted):
                continue
            where = base / f"{number}"
            where.mkdir()
            try:
                told = tried(fault, where)
            except AssertionError as error:
                told, faults = f"FAULT {error}", faults + 1
            print(f"{fault.name:32} {told}", flush=True)
            rmtree(where, ignore_errors=True)
    print(f"{len(FAULTS)} faults, {faults} not borne")
    sys.exit(1 if faults else 0)


if __name__ == "__main__":
    main()
