"""`lapheat window`: map, pick, files, and what to say of them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ...case.faults import printable
from ...case.file import CaseError
from ...report.folder import check_folder
from ...report.terminal import CAUTIONS
from ...study.runs import Source, executor_of, warm_up
from ...study.runs.axes import free_axes, given_axes
from ...study.window.files import OURS, Window, write_window
from ...study.window.map import Plan, Sweep, map_of
from ...study.window.pick import choose, probe
from ..terminal.exits import Left
from ..terminal.screen import show
from ..terminal.sweep import counted, kept_rows

__all__ = ["carry_out"]

MOST = 20_000  # points of a grid
REASONS = 3  # of runs that failed, told on screen; the rest stand in window.csv


def carry_out(
    file: Path,
    vary: Sequence[str],
    free: str,
    changes: tuple[str, ...],
    detail: str | None,
    out: Path | None,
    workers: int | None,
    cluster: str | None,
    resume: bool,
    left: Left,
) -> bool:
    """Map a case, write the results and show them; tell whether anything works.

    Parameters
    ----------
    file, vary, free, changes, detail, out, workers, cluster, resume : as on the command line
    left : kept up to date with what an early end would leave behind

    Raises
    ------
    CaseError
        Something asked for is refused.
    ResultError
        The results could not be written.
    """
    source = Source.of(file, changes)
    case = source.case()
    source.case((), detail)  # refuses a wrong detail
    axes = given_axes(vary, case)
    points = 1
    for axis in axes:
        points *= len(axis.values)
    if points > MOST:
        raise CaseError.one("", "--vary", f"{points} points", f"at most {MOST} points in all")
    plan = Plan(source, axes, free_axes(free, case, axes), detail or "coarse")
    folder = check_folder(file.with_name(f"{file.stem}.window") if out is None else out, OURS)
    with (
        executor_of(workers, cluster, warm_up) as executor,
        kept_rows(folder, resume, left) as store,
        counted() as count,
    ):
        sweep = Sweep(plan, executor, store, count)
        map_of(sweep)
        differences = probe(sweep)
        pick = choose(sweep, differences)
        count("drawing", 1, 1)
        window = Window(
            plan, case.title, case.detail, tuple(sweep.sorted()), tuple(differences), pick
        )
        files = write_window(window, folder, store)
    left.words = f"the results are whole, in {folder}"
    show(_told(window, files))
    return pick.run is not None


def _told(window: Window, files: Sequence[Path]) -> RenderableType:
    """Lay out the pick, how far the meshes differ, cautions and files."""
    pick = window.pick
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(style="dim")
    table.add_column(overflow="fold")
    failed = sum(run.row.get("failed") is not None for run in window.runs)
    works = sum(run.works for run in window.runs)
    told = f"{len(window.runs)} at {window.plan.detail} detail: {works} work"
    table.add_row("points", told + (f", {failed} failed" if failed else ""))
    for why in sorted({str(r.row["failed"]) for r in window.runs if r.row.get("failed")})[:REASONS]:
        table.add_row("failed", printable(why))
    for difference in window.differences:
        at = ", ".join(f"{key} = {value}" for key, value in difference.run.inputs)
        told = f"at {at} the margin is {difference.base:+.0f} K from the map's"
        if difference.row.get("filler_slack_K") is not None:
            told += f" and the filler's slack {difference.filler:+.0f} K"
        table.add_row(f"{window.own_detail} mesh", told)
    if pick.run is not None:
        for key, value in pick.run.inputs:
            table.add_row("pick", f"{key} = {value}")
    why = f"{pick.why[0].upper()}{pick.why[1:]}."
    return Group(
        Text(printable(window.title), style="bold"),
        table,
        Text(),
        Text(printable(why), style="bold green" if pick.run else "bold red"),
        Text(),
        Text("Cautions", style="bold"),
        *(Text(f"  {line}") for line in CAUTIONS),
        Text(),
        Text("Files", style="bold"),
        *(Text(f"  {printable(str(path))}") for path in files),
    )
