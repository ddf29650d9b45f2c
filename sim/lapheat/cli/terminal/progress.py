"""Progress of a run, with the time left: a bar on a terminal, a line a minute anywhere else."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Timer
from time import monotonic
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import Progress, Task

from ...case.case import Case
from ...report.progress import Stage
from .line import clock, line_on
from .sweep import STAGE, Lines, say

if TYPE_CHECKING:
    from ...march.march import Progress as Where

__all__ = ["Meter", "metered"]

PERIOD = 0.1  # [s] between updates
PATIENCE = 10.0  # [s] without a word, where there is no terminal
PREPARING = "preparing; the first run of all also compiles, a minute or two"


class Meter(Stage):
    """Shows where a march is: called with its progress after every step.

    Parameters
    ----------
    bar : None where there is no terminal
    case : gives the solidus of tube and flange
    total : time to the last arc-off, as far as it is known before [s]
    """

    def __init__(self, bar: Progress | None, case: Case, total: float) -> None:
        self.bar = bar
        self.total = max(total, 1e-9)
        self.next = 0.0
        self.silence: Timer | None = None  # says that it prepares, unless it starts soon
        if bar is not None:
            self.task = bar.add_task(PREPARING, total=self.total, tails=self._tails)
        super().__init__(case)  # starts
        if bar is not None:
            bar.refresh()

    def start(self, head: str = "") -> None:
        """Begin a run of the case; `head` is said before where it is."""
        super().start(head)
        self.of = STAGE if head else ""  # then it is one of many runs
        self.lines = Lines()
        if self.bar is not None:
            self.bar.reset(self.task, total=self.total)

    def _tails(self, task: Task) -> tuple[str, ...]:
        """The time left; nothing where none is known to be left."""
        left = clock(task.time_remaining or 0.0)
        return (f"{left} left{self.of}", f"{left} left") if left and not task.finished else ()

    def __call__(self, where: Where) -> None:
        """Update, at most ten times a second; elsewhere a line a minute."""
        self.follow(where)
        started = where.time > 0.0
        if started and self.silence is not None:
            self.silence.cancel()
        if self.bar is None and started:
            self.lines.tell(lambda: self.text(where), where.time / self.total, self.of)
        if self.bar is not None and started and (now := monotonic()) >= self.next:
            self.next = now + PERIOD
            done = min(where.time, self.total)  # waits and cooling are not in the total
            self.bar.update(self.task, completed=done, description=self.text(where))
            self.bar.refresh()

    def count(self, doing: str, done: int, count: int) -> None:
        """Show what goes on after the march and has parts, `done` of `count`."""
        text = f"{doing}, {done} of {count}"
        if done == 0:
            self.lines = Lines()  # the time left is that of these parts
        elif self.bar is None:
            self.lines.tell(lambda: text, done / count)
        if self.bar is not None:
            if done == 0:
                self.of = ""
                self.bar.reset(self.task)
            self.bar.update(self.task, completed=done, total=count, description=text)
            self.bar.refresh()

    def say(self, text: str) -> None:
        """Say what goes on after the march; how long it takes is not known."""
        if self.bar is not None:
            self.bar.update(self.task, completed=self.total, total=self.total, description=text)
            self.bar.refresh()


@contextmanager
def metered(case: Case, total: float) -> Iterator[Meter]:
    """Give a meter on stderr: a bar that vanishes at the end, or lines if that is no terminal."""
    console = Console(stderr=True)
    if not console.is_terminal:
        meter = Meter(None, case, total)
        meter.silence = silence = Timer(PATIENCE, say, (PREPARING,))
        silence.daemon = True
        silence.start()
        try:
            yield meter
        finally:
            silence.cancel()
        return
    with line_on(console, auto_refresh=False) as bar:
        yield Meter(bar, case, total)
