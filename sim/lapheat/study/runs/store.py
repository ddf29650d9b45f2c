"""Rows of a sweep in a file that grows line by line, so that a sweep cut short goes on later."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from hashlib import sha256
from math import isfinite, nan
from pathlib import Path
from types import TracebackType
from typing import Any, Protocol, Self, TypeVar

from ...case.faults import CaseError, Fault
from .executors import Executor, Row, Work

__all__ = ["Keyed", "RowFile", "collect", "holds_rows", "numbers_of", "reads"]

LONGEST = 20_000_000  # [bytes] of a line; rows of probes take some hundred thousand
BEGINS = b'{"key": '


class Keyed(Protocol):
    """A task with a key of its own."""

    def key(self) -> str:
        """Text that is the same only for tasks with the same row."""
        ...


Task = TypeVar("Task", bound=Keyed)
Reader = Callable[[Any, Row], object]

_READERS: dict[Callable[..., Row], Reader] = {}


def reads(work: Callable[..., Row], reader: Reader) -> None:
    """Let a kept row of `work` count only if `reader` of task and row raises nothing.

    A checksum tells a damaged line, not one with other columns than this version's work gives.
    """
    _READERS[work] = reader


def numbers_of(row: Row, name: str) -> list[float]:
    """Numbers that a row keeps as the text of a JSON list; null is nan.

    Raises
    ------
    ValueError
        It is no such text.
    """
    found = json.loads(str(row.get(name)))
    if not isinstance(found, list) or not all(type(v) in (int, float, type(None)) for v in found):
        raise ValueError(name)
    return [nan if value is None else float(value) for value in found]


def _readable(work: Callable[..., Row], task: Keyed, row: Row) -> bool:
    """Whether a kept row has what the work of its task gives; failed ones hold nothing else."""
    reader = _READERS.get(work)
    if reader is None or row.get("failed") is not None:
        return True
    try:
        reader(task, row)
    except (ValueError, TypeError, KeyError, IndexError, RecursionError, CaseError):
        return False
    return True


class RowFile:
    """Rows by key, one JSON line each with its checksum, on disk as soon as they are added.

    Parameters
    ----------
    path : the file; None keeps rows in memory only
    resume : begin with the rows that are there, but for lost ones, which are tried again; what a
        kill tore at the end is dropped

    Attributes
    ----------
    rows : by key
    kept : keys of rows from a file that `collect` was not asked for yet
    used : keys that it was asked for
    damaged : lines and rows that were found damaged; their runs are made anew

    Raises
    ------
    CaseError
        The path is a link or no file, or the file holds something but no row: it is not ours.
    OSError
        The file cannot be read or written.
    """

    def __init__(self, path: Path | None = None, resume: bool = False) -> None:
        self.path = path
        self.rows: dict[str, Row] = {}
        self.kept: set[str] = set()
        self.used: set[str] = set()
        self.damaged = 0
        self._file = None
        if path is None:
            return
        whole = self.take(path) if holds_rows(path) and resume else 0
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file = open(path, "ab", opener=_no_link)  # noqa: SIM115 - closed by `close`
        self._file.truncate(whole)

    def take(self, path: Path) -> int:
        """Take in the good lines of a file; returns where the last of them ends [bytes]."""
        end = at = 0
        with path.open("rb") as lines:
            while (line := lines.readline(LONGEST)).endswith(b"\n"):
                at += len(line)
                entry = _entry(line)
                if entry is None:
                    self.damaged += 1
                    continue
                key, row = entry
                if not row.get("lost"):
                    self.rows[key] = row
                    self.kept.add(key)
                end = at
        return end

    def add(self, key: str, row: Row) -> None:
        """Keep a row; when this returns it outlives a power cut."""
        self.rows[key] = row
        if self._file is not None:
            self._file.write(_line(key, row).encode())
            self._file.flush()
            os.fsync(self._file.fileno())

    def write_used(self, path: Path) -> None:
        """Write the rows that `collect` gave, by key: the same bytes however they came to be."""
        lines = (_line(key, self.rows[key]) for key in sorted(self.used))
        path.write_text("".join(lines), "utf-8")

    def close(self, remove: bool = False) -> None:
        """Close the file, and with `remove` delete it: its rows are elsewhere."""
        if self._file is not None:
            self._file.close()
        if remove and self.path is not None:
            self.path.unlink(missing_ok=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        self.close()


def _line(key: str, row: Row) -> str:
    told = json.dumps({"key": key, "row": row}, ensure_ascii=False)
    return f'{told[:-1]}, "sum": "{sha256(told.encode()).hexdigest()[:16]}"}}\n'


def _entry(line: bytes) -> tuple[str, Row] | None:
    """Key and row of a line; None unless it is to the byte what `add` writes."""
    try:
        entry = json.loads(line)
        key, row = entry["key"], entry["row"]
        good = line.decode() == _line(key, row) and isinstance(key, str) and _is_row(row)
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
    return (key, row) if good else None


def _is_row(row: object) -> bool:
    """Whether it is a flat row of finite numbers, booleans and texts that says if it failed."""
    return (
        isinstance(row, dict)
        and isinstance(row.get("failed", 0), str | None)
        and all(
            value is None
            or isinstance(value, str)
            or (isinstance(value, int | float) and isfinite(value))
            for value in row.values()
        )
    )


def holds_rows(path: Path) -> bool:
    """Whether rows are kept there, a torn one at least; False where there is nothing yet.

    Raises
    ------
    CaseError
        The path is a link or no file, or the file holds something but no row: it is not ours.
    OSError
        It cannot be read.
    """
    if path.is_symlink():
        raise _refused(path, "a link")
    if not path.exists():
        return False
    if not path.is_file():
        raise _refused(path, "not a regular file")
    with path.open("rb") as lines:
        line = lines.readline(LONGEST)
        if not line:
            return False
        torn = not line.endswith(b"\n") and line.startswith(BEGINS[: len(line)])
        while not torn and _entry(line) is None:
            line = lines.readline(LONGEST)
            if not line:
                raise _refused(path, "a file that holds no kept row")
    return True


def _no_link(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0), 0o666)


def _refused(path: Path, given: str) -> CaseError:
    allowed = "a new file, or the kept rows of an unfinished study"
    return CaseError([Fault(str(path), "file", given, allowed, "move it away")])


def collect(
    executor: Executor,
    work: Work[Task],
    tasks: Sequence[Task],
    store: RowFile,
    report: Callable[[int, int], None] | None = None,
) -> list[Row]:
    """Rows of all tasks, in their order; those the store has are not run again.

    Parameters
    ----------
    executor : where the others are run
    work : from a task to its row; a module's own function, so that other processes find it
    tasks : equal ones are run once
    store : gets each row as it is finished
    report : called with (rows there, tasks) at the start and after every row
    """
    keys = [task.key() for task in tasks]
    asked = dict(zip(keys, tasks, strict=True))
    for key, task in asked.items():
        if key in store.kept and not _readable(work, task, store.rows[key]):
            del store.rows[key]
            store.damaged += 1
        store.kept.discard(key)
    missing = {key: task for key, task in asked.items() if key not in store.rows}
    store.used.update(keys)
    left = len(missing)
    names = list(missing)

    def tell() -> None:
        if report is not None:
            report(len(tasks) - left, len(tasks))

    tell()
    for index, row in executor.run(work, list(missing.values())):
        store.add(names[index], row)
        left -= 1
        tell()
    return [store.rows[key] for key in keys]
