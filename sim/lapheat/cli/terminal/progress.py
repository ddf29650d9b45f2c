"""Progress of a run on a terminal; silent anywhere else."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from time import monotonic
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

from ...case.case import Case
from ...report.progress import Stage

if TYPE_CHECKING:
    from ...march.march import Progress as Where

__all__ = ["Meter", "metered"]

PERIOD = 0.1  # [s] between updates


class Meter(Stage):
    """Shows where a march is: called with its progress after every step.

    Parameters
    ----------
    bar : None to show nothing
    case : gives the solidus of tube and flange
    total : time to the last arc-off, as far as it is known before [s]
    """

    def __init__(self, bar: Progress | None, case: Case, total: float) -> None:
        super().__init__(case)
        self.bar = bar
        self.next = 0.0
        if bar is not None:
            text = "preparing; the first run of all also compiles, about a minute"
            self.task = bar.add_task(text, total=max(total, 1e-9))
            bar.refresh()

    def __call__(self, where: Where) -> None:
        """Update, at most ten times a second."""
        self.follow(where)
        started = where.time > 0.0
        if self.bar is not None and started and (now := monotonic()) >= self.next:
            self.next = now + PERIOD
            self.bar.update(self.task, completed=where.time, description=self.text(where))
            self.bar.refresh()

    def count(self, doing: str, done: int, count: int) -> None:
        """Show what goes on after the march and has parts, `done` of `count`."""
        if self.bar is not None:
            if done == 0:
                self.bar.reset(self.task)  # the time left is that of these parts
            text = f"{doing}, {done} of {count}"
            self.bar.update(self.task, completed=done, total=count, description=text)
            self.bar.refresh()

    def say(self, text: str) -> None:
        """Say what goes on after the march."""
        if self.bar is not None:
            self.bar.update(self.task, description=text)
            self.bar.refresh()


@contextmanager
def metered(case: Case, total: float) -> Iterator[Meter]:
    """Give a meter on stderr, which vanishes at the end; a silent one if that is no terminal."""
    console = Console(stderr=True)
    if not console.is_terminal:
        yield Meter(None, case, total)
        return
    columns = (
        TextColumn("{task.description}", markup=False),
        BarColumn(),
        TimeRemainingColumn(compact=True, elapsed_when_finished=True),
        TextColumn("left"),
    )
    with Progress(*columns, console=console, auto_refresh=False, transient=True) as bar:
        yield Meter(bar, case, total)
