"""`lapheat explain`: levers, advice, files, and what to say of them."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ...case.faults import printable
from ...study.explain.explain import Explained, bounds, explain
from ...study.explain.files import OURS, advice_head, advice_told, write_explain
from ...study.explain.groups import Group, groups_of
from ...study.explain.measures import asked, slacks
from ...study.explain.words import turned
from ...study.runs.standing import standing
from ..terminal.options import set_again
from ..terminal.screen import show
from .frame import Study, carried_out, page

__all__ = ["carry_out"]

MOST = 5  # levers of one finding, on screen; all are in explain.csv
STRETCH = (
    "stretch surplus: what all of both sides has above the filler's liquidus, but for dry "
    "stretches that are short enough"
)


def carry_out(study: Study) -> bool:
    """Explain a case, write the results and show them; return whether it works or is mended.

    Parameters
    ----------
    study : what every such command is asked

    Raises
    ------
    CaseError
        Something asked for is refused.
    MarchError
        The case as it is could not be computed.
    ResultError
        The results could not be written.
    """
    folder = study.folder(OURS)
    planner = explain(study.source, study.mesh)
    runs = bounds(study.source.case(), study.mesh)
    found, files = carried_out(study, folder, planner, write_explain, *runs)
    show(told(found, study, files))
    return found.works or any(advice.works for advice in found.advice)


def told(found: Explained, study: Study, files: Sequence[Path] = ()) -> RenderableType:
    """Lay out findings, the levers of each, advice and the commands that try it."""
    parts: list[RenderableType] = []
    state = f"As it is, at {found.case.detail} detail, {standing(found.own)}."
    parts += [Text(printable(state), style="green" if found.works else "bold red")]
    parts += [Text(f"  {printable(f.says[0].upper() + f.says[1:])}.") for f in found.findings]
    for group in groups_of(found):
        parts += [Text(), _levers(group, found)]
    if found.case.brazed is not None:
        parts += [Text(STRETCH, style="dim")]
    parts += [Text(), *_advice(found, study)]
    runs = f"From {found.runs[0]} runs at {found.detail} detail and {found.runs[1]} finer."
    return page(found.case.title, [*parts, Text(), Text(runs)], files)


def _levers(group: Group, found: Explained) -> RenderableType:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column(f"{group.head},\nat {found.detail}")
    measures = asked(found.case)
    for word in ("to", *(measure.word for measure in measures), "time"):
        # words stay whole on a narrow screen
        least = max(map(len, word.split()))
        table.add_column("\n".join(word.rsplit(" ", 1)), justify="right", min_width=least)
    for pull, _ in group.pulls[:MOST]:
        key, before, after = pull.lever.key, pull.lever.own.text, pull.to.text
        changes = slacks(pull.row, found.case) - slacks(found.base, found.case)
        units = ("%" if measure.row == "lap_filled" else "K" for measure in measures)
        cells = (f"{c:+.0f} {unit}" for c, unit in zip(changes, units, strict=True))
        seconds = float(pull.row["total_s"] or 0.0) - float(found.base["total_s"] or 0.0)
        table.add_row(turned(key, before, after), after, *cells, f"{seconds:+.0f} s")
    if not group.pulls:
        table.add_row("no key does")
    return table


def _advice(found: Explained, study: Study) -> Iterator[Text]:
    """Each change, how it does on the case's own mesh, and how to run it."""
    mended = [advice for advice in found.advice if advice.works]
    if not found.works and not mended:
        yield Text("No change that was tried holds all limits; the nearest:", style="bold red")
    elif not found.works and len(mended[0].inputs) > 2:
        yield Text("Neither one key nor a pair holds all limits; these together do:", style="bold")
    elif not found.advice:
        yield Text("Nothing that was tried does better than the case as it is.")
    for advice in found.advice:
        yield Text.assemble((f"{advice_head(advice, found)}: ", "bold"),
                            printable(f"{advice_told(advice, found)}."))  # fmt: skip
        keys = {key for key, _ in advice.inputs}
        kept = [c for c in study.changes if c.partition("=")[0].strip() not in keys]
        changes = set_again([*kept, *(f"{key}={text}" for key, text in advice.inputs)])
        command = ["lapheat run", shlex.quote(str(study.file)), *changes]
        yield Text(printable(f"  {' '.join(command)}"))
    if found.advice:
        yield Text("These hold where nothing strays; on a real bench they may hardly ever do.")
        told = "lapheat risk, with the same --set, tells how often"
        seeks = "lapheat find seeks settings and a hand that survive it; "
        yield Text(f"Next: {seeks if found.case.brazed is not None else ''}{told}.")
