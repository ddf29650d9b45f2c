"""`lapheat check`: a case resolved, and the size of its run."""

from __future__ import annotations

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ..case.case import Case
from ..case.faults import printable
from ..case.file import resolved_rows
from ..joint.schedule import spelled_order
from ..march.expected import LONGEST, Expected
from .terminal.sweep import in_words

__all__ = ["table_of"]


def table_of(case: Case, expected: Expected, stages: int, seconds: float) -> RenderableType:
    """Lay out the resolved case, key by key, then mesh, steps, stages and times of its run."""
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    table.add_column("key", no_wrap=True)
    table.add_column("given", overflow="fold")
    table.add_column("SI", overflow="fold")
    for row in resolved_rows(case):
        table.add_row(*(printable(cell) for cell in row))
    size = Table.grid(padding=(0, 3, 0, 0))
    size.add_column(style="dim")
    size.add_column()
    size.add_row(
        "mesh",
        f"{expected.cells} cells: {expected.section_cells} in the section, "
        f"{expected.layers} round the ring ({case.detail})",
    )
    size.add_row("steps", f"about {expected.steps}, {expected.arc_steps} of them with the arc on")
    each = f"{stages / expected.steps:.0f} in the mean step"
    size.add_row("stages", f"about {stages} of the explicit march, {each}: each covers every cell")
    size.add_row("order", f"of segments, {spelled_order(case)}")
    travel = case.travel
    waits = ", plus the waits for travel.resume_below" if travel.resume_below is not None else ""
    if travel.start == "on-flow":
        limit = f"at most {travel.dwell_limit:g} s a segment"
        waits += f"{' and' if waits else ', plus the waits'} for flow, {limit}"
    size.add_row(
        "time",
        f"{expected.segments} of {expected.ring} segments: arc on for {expected.arc_on:.1f} s, "
        f"{expected.total:.1f} s with pauses{waits}",
    )
    long = f", more than run's --hours ({LONGEST:g})" if seconds > 3600.0 * LONGEST else ""
    size.add_row("computing", f"some {in_words(seconds)} on one quiet, fast core{long}")
    notes = [Text(note) for note in case.assumed]
    return Group(table, Text(), size, *([Text(), *notes] if notes else []))
