"""What commands of many runs share: rows kept while they go on, progress with the time left."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic
from typing import TypeVar

from rich.console import Console
from rich.progress import Progress, Task

from ...case.case import Case
from ...case.faults import CaseError, Fault, printable_lines
from ...study.runs.effort import seconds_of
from ...study.runs.rounds import Planner
from ...study.runs.store import RowFile, holds_rows
from .exits import Left
from .line import clock, line_on

__all__ = ["STAGE", "Lines", "Runs", "beforehand", "counted", "in_words", "kept_rows", "say"]

Found = TypeVar("Found")
Size = tuple[int, int]  # runs at a study's mesh, and at the case's own

STAGE = " in this stage"  # what a time left belongs to
STARTING = "starting; the first run of all also compiles, a minute or two"
PERIOD = 60.0  # [s] between lines
TELLING = 0.02  # that must be done to foretell the rest: what is first also compiles


def say(text: str) -> None:
    """Say on stderr, above the progress where that is shown."""
    print(printable_lines(text), file=sys.stderr, flush=True)


def beforehand(case: Case, detail: str, most: Size, workers: int, least: Size | None = None) -> str:
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
    times = f"that takes some {long}" if short == long else f"that takes {short} to {long}"
    return (
        f"At most {runs}{fewer}, {workers} at once. On a quiet, fast machine {times}. "
        "A slow or busy one may take many times as long."
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

    def tell(self, text: Callable[[], str], share: float, of: str = "") -> None:
        """Say where it is and what is left, if the last line is long ago.

        Parameters
        ----------
        text : what is being done
        share : of all, done since `began`; from 1 on nothing is known to be left
        of : what the time left belongs to
        """
        now = monotonic()
        if now - self.last >= PERIOD:
            self.last = now
            known = TELLING < share < 1.0
            left = (now - self.began) * (1.0 / share - 1.0) if known else 0.0
            say(text() + (f", about {in_words(left)} left{of}" if known else ""))


class Runs:
    """Shows how many runs of the stage that goes on are finished, and how many so far.

    How many stages come is mostly open until a study ends, so the time left is that of one.

    Parameters
    ----------
    store : of the study, fresh; it knows which runs are the same
    most : runs that the study takes at most
    fits : tasks of this kind are no runs
    bar : None where there is no terminal
    """

    def __init__(
        self, store: RowFile, most: int, fits: type | None = None, bar: Progress | None = None
    ) -> None:
        self.store, self.most, self.fits, self.bar = store, most, fits, bar
        self.lines = Lines()
        self.begins = False
        self.later = self.known = 0  # tasks foreseen after the round, and those that came
        self.before = self.stage = self.finished = self.first = 0
        self.counts = True  # the tasks are runs
        self.ends: float | None = None
        if bar is not None:
            self.task = bar.add_task(STARTING, total=None, tails=self._tails, pulse=True)

    def watch(self, planner: Planner[Found]) -> Planner[Found]:
        """Pass on a planner's rounds and their rows, and take note of each round."""
        try:
            asked = next(planner)
            while True:
                self.later, self.begins = asked.later, True
                fits = self.fits
                self.counts = fits is None or not any(isinstance(t, fits) for t in asked.tasks)
                asked = planner.send((yield asked))
        except StopIteration as end:
            found: Found = end.value
            return found

    def __call__(self, doing: str, done: int, count: int) -> None:
        """Show where the round is, called by `drive`."""
        new, now = len(self.store.used) - self.known, monotonic()
        if begins := self.begins:
            self.begins, self.known = False, self.known + new
            self._begin(new if self.counts else 0)
        missing = count - self.later - done  # each run is missing once
        self.finished = self.stage - min(missing, self.stage)
        if begins:  # rows that were kept took no time
            self.first, self.lines.began = self.finished, now
        self._show(doing, now)

    def say(self, doing: str) -> None:
        """Show what is done after the last run."""
        self._begin(0)
        self._show(doing, monotonic())

    def _begin(self, stage: int) -> None:
        self.before, self.stage, self.finished, self.first = self.before + self.stage, stage, 0, 0

    @property
    def _of(self) -> str:
        """What the time left belongs to: to all where no other stage can come."""
        return "" if self.stage >= self.most else STAGE

    def _show(self, doing: str, now: float) -> None:
        share = (self.finished - self.first) / max(self.stage - self.first, 1)
        going = 0.0 < share < 1.0
        self.ends = now + (now - self.lines.began) * (1.0 / share - 1.0) if going else None
        if self.bar is not None:
            self.bar.update(
                self.task,
                description=doing,
                completed=self.finished,
                total=max(self.stage, 1),
                pulse=not self.stage,
            )
        elif going:
            told = f"{doing}: {self.finished} of {self.stage} runs"
            told += f" ({self.before + self.finished} so far)" if self.before else ""
            self.lines.tell(lambda: told, share, self._of)

    def _tails(self, _: Task) -> tuple[str, ...]:
        """What is known, in words."""
        so_far = self.before + self.finished
        if not self.stage:
            return (f"{so_far} run{'s' if so_far > 1 else ''} so far",) if so_far else ()
        left = "" if self.ends is None else clock(self.ends - monotonic())
        runs = f"{self.finished}/{self.stage} runs"
        told = f"{runs}{f', {left} left' if left else ''}{self._of}"
        return (f"{told}; {so_far} so far" if self.before else told, told, runs)


@contextmanager
def counted(store: RowFile, most: int, fits: type | None = None) -> Iterator[Runs]:
    """Give what shows the progress of a study's runs on stderr; for the arguments see `Runs`.

    It vanishes at the end; if that is no terminal there is a line a minute.
    """
    console = Console(stderr=True)
    if not console.is_terminal:
        yield Runs(store, most, fits)
        return
    with line_on(console, auto_refresh=True) as bar:
        yield Runs(store, most, fits, bar)


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
