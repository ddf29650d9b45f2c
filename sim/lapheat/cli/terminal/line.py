"""The line of a terminal that shows progress: nothing of it is cut, and nothing unknown is told."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.console import Console, RenderableType
from rich.progress import Progress, ProgressColumn, Task
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

__all__ = ["Tails", "clock", "line_on"]

Tails = Callable[[Task], Sequence[str]]
"""What may stand after the bar, the longest first."""

LEAST, MOST = 8, 40  # columns of the bar


class _Line(ProgressColumn):
    """What is being done, a bar, and the first of the task's `tails` that there is room for.

    Parameters
    ----------
    console : that it is shown on
    """

    def __init__(self, console: Console) -> None:
        super().__init__()
        self.console = console

    def render(self, task: Task) -> RenderableType:
        """Lay it out."""
        doing, width = Text(task.description), self.console.width
        tails = task.fields["tails"](task) or ("",)
        for at, tail in enumerate(tails):
            # the longest is worth no bar, the others are
            for least in (LEAST, 0) if at or len(tails) == 1 else (LEAST,):
                room = width - doing.cell_len - len(tail) - bool(tail) - bool(least)
                if room >= least:
                    return _row(doing, _bar(task, min(room, MOST)) if least else None, tail)
        return doing


def _bar(task: Task, width: int) -> ProgressBar:
    return ProgressBar(
        total=task.total,
        completed=task.completed,
        width=width,
        pulse=task.fields.get("pulse", False),
        animation_time=task.get_time(),
    )


def _row(doing: Text, bar: ProgressBar | None, tail: str) -> Table:
    parts: list[RenderableType] = [doing]
    parts += [] if bar is None else [bar]
    parts += [Text(tail)] if tail else []
    row = Table.grid(padding=(0, 1), pad_edge=False)
    row.add_row(*parts)
    return row


def line_on(console: Console, auto_refresh: bool) -> Progress:
    """Make a bar on a terminal that vanishes at the end; its task has a field `tails`."""
    return Progress(_Line(console), console=console, auto_refresh=auto_refresh, transient=True)


def clock(seconds: float) -> str:
    """Write a time that runs down: "00:31", "1:02:03"; nothing where less than a second is left."""
    whole = int(seconds)
    minutes, rest = divmod(whole, 60)
    hours, minutes = divmod(minutes, 60)
    if whole < 1:
        return ""
    return f"{hours}:{minutes:02d}:{rest:02d}" if hours else f"{minutes:02d}:{rest:02d}"
