"""Rows of a sweep in a file that grows line by line, so that a sweep cut short goes on later."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from types import TracebackType
from typing import Protocol, Self, TypeVar

from .executors import Executor, Row, Work

__all__ = ["Keyed", "RowFile", "collect"]


class Keyed(Protocol):
    """A task with a key of its own."""

    def key(self) -> str:
        """Text that is the same only for tasks with the same row."""
        ...


Task = TypeVar("Task", bound=Keyed)


class RowFile:
    """Rows by key, one JSON line each, on disk as soon as they are added.

    Parameters
    ----------
    path : the file; None keeps rows in memory only
    resume : begin with the rows that are there, but for lost ones, which are tried again; what a
        kill tore at the end is dropped

    Attributes
    ----------
    rows : by key
    used : keys that `collect` was asked for

    Raises
    ------
    OSError
        The file cannot be read or written.
    """

    def __init__(self, path: Path | None = None, resume: bool = False) -> None:
        self.path = path
        self.rows: dict[str, Row] = {}
        self.used: set[str] = set()
        self._file = None
        if path is None:
            return
        whole = self.take(path) if resume and path.exists() else 0
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file = path.open("ab")
        self._file.truncate(whole)

    def take(self, path: Path) -> int:
        """Take in the whole lines of a file; returns where they end [bytes]."""
        end = 0
        with path.open("rb") as lines:
            for line in lines:
                try:
                    entry = json.loads(line)
                    key, row = entry["key"], dict(entry["row"])
                except (ValueError, KeyError, TypeError):
                    break
                if not line.endswith(b"\n"):
                    break
                if not row.get("lost"):
                    self.rows[key] = row
                end += len(line)
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
    return json.dumps({"key": key, "row": row}, ensure_ascii=False) + "\n"


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
    missing = {key: task for key, task in zip(keys, tasks, strict=True) if key not in store.rows}
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
