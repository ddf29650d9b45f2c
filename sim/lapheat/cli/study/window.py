"""`lapheat window`: map, pick, files, and what to say of them."""

from __future__ import annotations

from collections.abc import Sequence
from math import prod
from pathlib import Path

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ...case.faults import printable
from ...case.file import CaseError
from ...study.runs.axes import free_axes, given_axes
from ...study.window.files import OURS, write_window
from ...study.window.map import WindowPlan
from ...study.window.window import Window, window_of
from ..terminal.screen import show
from .frame import Study, carried_out, page

__all__ = ["carry_out"]

MOST = 20_000  # points of a grid
REASONS = 3  # of runs that failed, shown on screen; the rest are in window.csv


def carry_out(study: Study, vary: Sequence[str], free: str) -> bool:
    """Map a case, write the results and show them; return whether anything works.

    Parameters
    ----------
    study : what every such command is asked
    vary, free : as on the command line

    Raises
    ------
    CaseError
        Something asked for is refused.
    ResultError
        The results could not be written.
    """
    case = study.source.case()
    axes = given_axes(vary, case)
    points = prod(len(axis.values) for axis in axes)
    if points > MOST:
        raise CaseError.one("", "--vary", f"{points} points", f"at most {MOST} points in all")
    plan = WindowPlan(study.source, axes, free_axes(free, case, axes), study.mesh)
    folder = study.folder(OURS)
    window, files = carried_out(study, folder, window_of(plan), write_window)
    show(told(window, files))
    return window.pick.run is not None


def told(window: Window, files: Sequence[Path] = ()) -> RenderableType:
    """Lay out the pick, how far the meshes differ, notes, cautions and files."""
    pick = window.pick
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(style="dim")
    table.add_column(overflow="fold")
    failed = sum(run.row.get("failed") is not None for run in window.runs)
    works = sum(run.works for run in window.runs)
    points = f"{len(window.runs)} at {window.plan.detail} detail: {works} work"
    table.add_row("points", points + (f", {failed} failed" if failed else ""))
    for why in sorted({str(r.row["failed"]) for r in window.runs if r.row.get("failed")})[:REASONS]:
        table.add_row("failed", printable(why))
    for difference in window.differences:
        at = ", ".join(f"{key} = {value}" for key, value in difference.run.inputs)
        differs = f"at {at} the margin is {difference.base:+.0f} K from the map's"
        if difference.row.get("filler_slack_K") is not None:
            differs += f" and the filler's slack {difference.filler:+.0f} K"
        table.add_row(f"{window.case.detail} mesh", differs)
    if pick.run is not None:
        for key, value in pick.run.inputs:
            table.add_row("pick", f"{key} = {value}")
    why = f"{pick.why[0].upper()}{pick.why[1:]}."
    parts: list[RenderableType] = [
        table,
        Text(),
        Text(printable(why), style="bold green" if pick.run else "bold red"),
        *(Text(note) for note in window.notes),
    ]
    return page(window.case.title, parts, files)
