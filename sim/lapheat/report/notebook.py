"""What a notebook shows: an answer as a small page, its rows as a data frame, work that goes on."""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping, Sequence
from html import escape
from time import monotonic
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pandas

    from ..case.case import Case
    from ..march.recorder import Progress, Report

__all__ = ["Cell", "Count", "frame_of", "html_of", "notebook_count", "notebook_report"]

Cell = float | int | bool | str | None
Count = Callable[[str, int, int], None]
"""Shows progress: what is being done, how much of it is done, and how much there is."""

MOST = 20  # rows of a table on a page; a data frame has all
PERIOD = 0.3  # [s] between updates


def frame_of(rows: Sequence[Mapping[str, Any]]) -> pandas.DataFrame:
    """Rows as a data frame, a column a name.

    Raises
    ------
    ImportError
        The package pandas is not installed.
    """
    try:
        import pandas
    except ImportError:
        raise ImportError("to_frame() needs pandas: pip install 'lapheat[notebook]'") from None
    return pandas.DataFrame.from_records([dict(row) for row in rows])


def html_of(title: str, lines: Sequence[str], rows: Sequence[Mapping[str, Cell]] = ()) -> str:
    """Lay out a page; every text in it stays text.

    Parameters
    ----------
    title : of the case
    lines : sentences under it
    rows : of a table, a column a name; the first ones are shown
    """
    parts = [f"<p><b>{escape(title)}</b></p>", *(f"<p>{escape(line)}</p>" for line in lines)]
    names = list(dict.fromkeys(name for row in rows for name in row))
    if names:
        head = "".join(f"<th>{escape(name)}</th>" for name in names)
        body = "".join(
            f"<tr>{''.join(f'<td>{escape(_text(row.get(name)))}</td>' for name in names)}</tr>"
            for row in rows[:MOST]
        )
        parts.append(f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>")
    if len(rows) > MOST:
        parts.append(f"<p>{len(rows) - MOST} more rows: to_frame() has all.</p>")
    return f"<div>{''.join(parts)}</div>"


def _text(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.5g}" if isinstance(value, float) else str(value)


def notebook_count() -> Count | None:
    """Give a function that shows progress with the time left; None outside a notebook."""
    shell = getattr(sys.modules.get("IPython"), "get_ipython", lambda: None)()
    return _Line() if hasattr(shell, "kernel") else None


def notebook_report(case: Case) -> Report | None:
    """Give a function that shows where a march is; None outside a notebook."""
    count = notebook_count()
    if count is None:
        return None
    from ..march.expected import expected_of

    total = round(expected_of(case).total)

    def report(where: Progress) -> None:
        done = round(where.time)
        count(f"segment {where.segment}, simulated seconds", done, max(total, done))

    return report


class _Line:
    """A line under the cell, rewritten as the work goes on."""

    def __init__(self) -> None:
        from IPython.display import display

        self._began, self._next = monotonic(), 0.0
        self._handle = display({"text/plain": ""}, raw=True, display_id=True)

    def __call__(self, doing: str, done: int, count: int) -> None:
        now = monotonic()
        if now < self._next and done < count:
            return
        self._next = now + PERIOD
        text = f"{doing}: {done} of {count}"
        if 0 < done < count:
            text += f", {(now - self._began) / done * (count - done):.0f} s left"
        self._handle.update({"text/plain": text}, raw=True)
