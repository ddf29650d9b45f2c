"""Where a command prints: colours on a terminal, plain unwrapped lines in a file or a pipe."""

from __future__ import annotations

import sys
from collections.abc import Iterable

from rich.console import Console, ConsoleOptions, RenderableType
from rich.segment import Segment

from ...case.faults import printable_lines

__all__ = ["show"]

UNWRAPPED = 10_000  # columns: more than any line has


class _Screen(Console):
    def on_broken_pipe(self) -> None:
        """Let the command decide; rich itself would exit with status 1."""
        raise BrokenPipeError

    def render(
        self, renderable: RenderableType, options: ConsoleOptions | None = None
    ) -> Iterable[Segment]:
        """Render as rich does; no text in it can steer the terminal."""
        for part in super().render(renderable, options):
            yield part if part.control else Segment(printable_lines(part.text), part.style)


def show(what: RenderableType) -> None:
    """Print on stdout.

    Raises
    ------
    BrokenPipeError
        Nobody reads it any more.
    """
    if hasattr(sys.stdout, "reconfigure"):
        sys.stdout.reconfigure(errors="backslashreplace")  # a title in a script it lacks
    screen = _Screen(markup=False, emoji=False, highlight=False)
    if screen.is_terminal:
        screen.print(what)
        return
    screen.width = UNWRAPPED
    with screen.capture() as captured:
        screen.print(what)
    for line in captured.get().splitlines():
        print(line.rstrip())
