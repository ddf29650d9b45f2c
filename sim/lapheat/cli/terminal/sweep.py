"""What commands of many runs share: rows kept while they go on, progress with the time left."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from ...case.file import CaseError, Fault
from ...study.runs.store import RowFile, holds_rows
from .exits import Left

__all__ = ["counted", "kept_rows"]

Count = Callable[[str, int, int], None]


def _silent(doing: str, done: int, count: int) -> None:
    del doing, done, count


@contextmanager
def counted() -> Iterator[Count]:
    """Give a function that shows what is done, runs finished and runs in all, and the time left.

    It shows on stderr and vanishes at the end; nothing is shown if that is no terminal.
    """
    console = Console(stderr=True)
    if not console.is_terminal:
        yield _silent
        return
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("runs,"),
        TimeRemainingColumn(compact=True),
        TextColumn("left"),
    )
    with Progress(*columns, console=console, transient=True, speed_estimate_period=120.0) as bar:
        task = bar.add_task("starting; the first run of all also compiles, a minute", total=None)

        def count(doing: str, done: int, count: int) -> None:
            bar.update(task, description=doing, completed=done, total=count)

        yield count


@contextmanager
def kept_rows(folder: Path, resume: bool, left: Left) -> Iterator[RowFile]:
    """Give the file beside a result folder that keeps a sweep's rows until it is finished.

    Parameters
    ----------
    folder : result folder; the file is named after it
    resume : go on from the rows of an unfinished sweep, and of a finished one in the folder
    left : given what an early end leaves behind

    Raises
    ------
    CaseError
        Rows of an unfinished sweep are there, and nothing was said about them; or a file of that
        name that is not ours.
    """
    path = folder.with_name(f"{folder.name}.rows.jsonl")
    if not resume and holds_rows(path):
        allowed = "--resume, which goes on from it; or delete that file to start anew"
        raise CaseError([Fault("", str(path), "an unfinished sweep", allowed)])
    with RowFile(path, resume) as store:
        if resume and (folder / "rows.jsonl").is_file():
            store.take(folder / "rows.jsonl")
        if store.damaged:
            told = f"{store.damaged} kept rows are damaged: their runs are made anew"
            print(told, file=sys.stderr)
        left.words = f"finished runs are kept in {path}; --resume goes on from them"
        finished = False
        try:
            yield store
            finished = True
        finally:
            store.close(remove=finished or not store.rows)
