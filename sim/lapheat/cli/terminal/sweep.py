"""What commands of many runs share: rows kept while they go on, progress with the time left."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from ...case.case import Case
from ...case.faults import CaseError, Fault, printable_lines
from ...study.runs.effort import seconds_of
from ...study.runs.store import RowFile, holds_rows
from .exits import Left

__all__ = ["Lines", "beforehand", "counted", "in_words", "kept_rows", "say"]

Count = Callable[[str, int, int], None]
Runs = tuple[int, int]

PERIOD = 60.0  # [s] between lines
TELLING = 0.02  # that must be done to foretell the rest: what is first also compiles


def say(text: str) -> None:
    """Say on stderr, above the progress where that is shown."""
    print(printable_lines(text), file=sys.stderr, flush=True)


def beforehand(case: Case, detail: str, most: Runs, workers: int, least: Runs | None = None) -> str:
    """Say how many runs a study takes at most, and for about how long.

    Parameters
    ----------
    case : at its own detail
    detail : mesh of the study
    most, least : runs at that detail, and at the case's own; without `least` all may be needed
    workers : how many runs go on at once
    """
    details = zip(most, (detail, case.detail), strict=True)
    first, *second = [(count, f"at {each} detail") for count, each in details if count]
    runs = f"{first[0]} run{'s' if first[0] > 1 else ''} {first[1]}"
    runs += "".join(f" and {count} {where}" for count, where in second)
    fewer = "" if least is None else f", {sum(least)} at least"
    long = in_words(seconds_of(case, detail, most) / workers)
    short = long if least is None else in_words(seconds_of(case, detail, least) / workers)
    times = f"{long} at most" if short == long else f"{short} to {long}"
    return (
        f"At most {runs}{fewer}, {workers} at once: some "
        f"{times} on a machine that does nothing else."
    )


def in_words(seconds: float) -> str:
    """Write a time that need not be exact: "40 s", "3 min", "2.5 h"."""
    if seconds < 90.0:
        return f"{max(10 * round(seconds / 10.0), 10)} s"
    if seconds < 5400.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"


class Lines:
    """Progress as lines, where there is no terminal: rarely, so that a log stays short."""

    def __init__(self) -> None:
        self.began = self.last = monotonic()

    def tell(self, text: Callable[[], str], share: float) -> None:
        """Say where it is and what is left, if the last line is long ago.

        Parameters
        ----------
        text : what is being done
        share : of all, done since this was made
        """
        now = monotonic()
        if now - self.last >= PERIOD:
            self.last = now
            left = (now - self.began) * max(1.0 / share - 1.0, 0.0)
            say(text() + (f", about {in_words(left)} left" if share > TELLING else ""))


class _Runs(Lines):
    kept: int | None = None  # rows of an earlier attempt, which took no time

    def __call__(self, doing: str, done: int, count: int) -> None:
        self.kept = done if self.kept is None else self.kept
        if self.kept < done < count:
            share = (done - self.kept) / (count - self.kept)
            self.tell(lambda: f"{doing}: {done} of {count} runs expected", share)


@contextmanager
def counted() -> Iterator[Count]:
    """Give a function that shows what is done, runs finished and runs in all, and the time left.

    It shows on stderr and vanishes at the end; if that is no terminal there is a line a minute.
    """
    console = Console(stderr=True)
    if not console.is_terminal:
        yield _Runs()
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
        task = bar.add_task(
            "starting; the first run of all also compiles, a minute or two", total=None
        )

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
        if resume and not store.rows:
            say(f"nothing is kept in {path}: the study begins anew")
        damaged = store.damaged
        if damaged:
            say(f"{damaged} kept rows are damaged: their runs are made anew")
        finished = False
        try:
            yield store
            finished = True
        finally:
            if store.rows:
                left.words = f"finished runs are kept in {path}; --resume goes on from them"
            if store.damaged > damaged:
                more = store.damaged - damaged
                say(f"{more} kept rows do not fit this version; those runs are repeated.")
            store.close(remove=finished or not store.rows)
