"""`lapheat window`: map, pick, files, and what to say of them."""

from __future__ import annotations

from collections.abc import Sequence
from math import prod
from pathlib import Path
from shlex import quote

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ...case.faults import printable
from ...case.file import CaseError
from ...outcomes.wording import Wording
from ...study.runs.axes import free_axes, given_axes
from ...study.window.files import OURS, write_window
from ...study.window.map import WindowPlan
from ...study.window.tried import Pick
from ...study.window.window import Window, most_runs, window_of
from ..terminal.screen import show
from .frame import Study, carried_out, command_line, page, share_of

__all__ = ["carry_out"]

MOST = 20_000  # points of a grid
REASONS = 3  # of runs that failed, shown on screen; the rest are in window.csv


def carry_out(study: Study, vary: Sequence[str], free: str, sure: str = "") -> bool:
    """Map a case, write the results and show them; return whether anything works.

    Parameters
    ----------
    study : what every such command is asked
    vary, free, sure : as on the command line

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
    if sure and free:
        allowed = "nothing beside --sure"
        raise CaseError.one("", "--free", free, allowed, "lapheat find chooses all keys by chance")
    chosen = free_axes(free, case, axes)
    plan = WindowPlan(study.source, axes, chosen, study.mesh, share_of(sure) if sure else None)
    folder = study.folder(OURS)
    runs = most_runs(plan, case.detail)
    window, files = carried_out(study, folder, window_of(plan), write_window, runs)
    show(told(window, files, study))
    return window.pick.run is not None


def told(window: Window, files: Sequence[Path] = (), study: Study | None = None) -> RenderableType:
    """Lay out the picks, how far the meshes differ, notes, what comes next, cautions and files."""
    pick, safest = window.pick, window.safest
    words = Wording.of(window.case)
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(style="dim")
    table.add_column(overflow="fold")
    failed = sum(run.row.get("failed") is not None for run in window.runs)
    works = sum(run.works for run in window.runs)
    points = f"{len(window.runs)} at {window.plan.detail} detail: {works} work"
    table.add_row("points", points + (f", {failed} failed" if failed else ""))
    for low, high in window.stretches:
        (axis,) = window.plan.axes
        between = f"{low:.4g} to {high:.4g} {axis.unit}".strip()
        table.add_row("works", f"{axis.key} from {between} at {window.plan.detail} detail")
    for why in sorted({str(r.row["failed"]) for r in window.runs if r.row.get("failed")})[:REASONS]:
        table.add_row("failed", printable(why))
    for difference in window.differences:
        at = ", ".join(f"{key} = {value}" for key, value in difference.run.inputs)
        differs = f"at {at} the margin is {words.apart(difference.base)} off the map's"
        if difference.row.get("filler_slack_K") is not None:
            differs += f" and the filler's slack {words.apart(difference.filler)}"
        table.add_row(f"{window.case.detail} mesh", differs)
    why = f"{pick.why[0].upper()}{pick.why[1:]}."
    parts: list[RenderableType] = [
        table,
        Text(),
        *_pick("Quickest", pick),
        Text(printable(why), style="bold green" if pick.run else "bold red"),
    ]
    if safest is not None and safest.run != pick.run:
        more = f"{safest.why[0].upper()}{safest.why[1:]}."
        parts += [Text(), *_pick("Safest", safest), Text(printable(more), style="green")]
    elif pick.run is not None:
        parts.append(Text("It is also the safest of the map."))
    parts += [Text(), *(Text(note) for note in window.notes)] if window.notes else []
    if study is not None:
        parts += [Text(), *(Text(printable(line)) for line in _next(window, study))]
    return page(window.case.title, parts, files)


def _pick(name: str, pick: Pick) -> list[RenderableType]:
    """Say what to set."""
    if pick.run is None:
        return []
    at = ", ".join(f"{key} = {value}" for key, value in pick.run.inputs)
    return [Text(printable(f"{name}: {at}"), style="bold")]


def _next(window: Window, study: Study) -> list[str]:
    """Commands that come next: for a setting that survives, or for one that would."""
    best = window.safest or window.pick
    chance = 0.0 if best.benched is None else best.benched.chance
    if best.run is None:
        at = window.pick.nearest
        inputs = at.inputs if at is not None else ()
        return [
            f"Next: {command_line(study, 'find')} looks among all keys for what survives;",
            f"  {command_line(study, 'explain', inputs)} says which key mends the nearest miss.",
        ]
    run = command_line(study, "run", best.run.inputs)
    if chance >= window.plan.wanted:
        return [f"Next: {run}"]
    lines = [f"Next: {command_line(study, 'find')} looks among all keys for what survives;"]
    if window.case.brazed is None:  # find wants a joint
        lines = ["Next:"]
    if window.plan.sure is None and not window.plan.free:
        vary = " ".join(f"--vary {quote(axis.told)}" for axis in window.plan.axes)
        lines.append(
            f"  {command_line(study, 'window', (), f'{vary} --sure 90%')} maps the chance;"
        )
    risk = command_line(study, "risk", best.run.inputs)
    return [*lines, f"  {risk} says what drives the failures of the safest."]
