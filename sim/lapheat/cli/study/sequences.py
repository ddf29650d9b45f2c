"""`lapheat sequences`: run the orders, write files, and say which and why."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ...case.faults import printable
from ...constants import ZERO_CELSIUS
from ...outcomes.wording import Wording
from ...study.runs.standing import FAILS, margin_wanted, surplus_wanted
from ...study.sequences.files import OURS, write_sequences
from ...study.sequences.orders import Comparison, Order, Sequences, compare, given_orders, trials_of
from ..terminal.screen import show
from .frame import Study, carried_out, command_line, page

__all__ = ["carry_out"]


def carry_out(study: Study, orders: str, interpass: bool) -> bool:
    """Compare orders, write the results and show them; return whether any works.

    Parameters
    ----------
    study : what every such command is asked
    orders, interpass : as on the command line

    Raises
    ------
    CaseError
        Something asked for is refused.
    ResultError
        The results could not be written.
    """
    named = given_orders(orders)
    # refused before anything starts
    count = len(trials_of(study.source, named, study.detail, interpass))
    folder = study.folder(OURS)
    planner = compare(study.source, named, study.detail, interpass)
    runs = (count, 0) if study.detail else (0, count)  # on the case's own mesh
    found, files = carried_out(study, folder, planner, write_sequences, runs)
    show(told(found, files, study))
    return found.pause.pick is not None


def told(
    found: Sequences, files: Sequence[Path] = (), study: Study | None = None
) -> RenderableType:
    """Lay out the orders ranked, the pick and why, notes, what comes next, cautions and files."""
    words = Wording.of(found.case)
    parts: list[RenderableType] = []
    for name, comparison in (("pause", found.pause), ("interpass", found.interpass)):
        if comparison is not None:
            style = "green" if comparison.pick is not None else "bold red"
            parts += [Text(), _table(f"at equal {name}", comparison, words), *_spelled(comparison)]
            parts += [Text(printable(comparison.why), style=style)]
    parts += [Text(note) for note in found.notes]
    if study is not None:
        parts += [Text(), *(Text(printable(line)) for line in next_of(found, study))]
    return page(found.case.title, parts, files)


def next_of(found: Sequences, study: Study) -> list[str]:
    """Say what to do next, in lines.

    Parameters
    ----------
    found : the orders compared
    study : what was asked
    """
    best = found.pause.orders[0]
    order = (("travel.order", best.order),)
    if found.pause.pick is not None:
        risk = command_line(study, "risk", order)
        return [f"Next: {risk} says how often a real bench succeeds with it."]
    if best.failed is not None:
        return [f"Next: {command_line(study, 'check')}"]
    return [
        f"Next: {command_line(study, 'find')} looks for settings that work;",
        f"  {command_line(study, 'explain', order)} says which key mends the nearest order.",
    ]


def _table(head: str, comparison: Comparison, words: Wording) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    table.add_column(head)
    for heading in ("base", "margin", "filler", "surplus"):
        table.add_column(heading, justify="left" if heading in ("base", "filler") else "right")
    for heading in ("tube peak", "hottest start", "spread of peaks", "time"):
        table.add_column(heading, justify="right")
    for order in comparison.orders:
        table.add_row(printable(order.order), *_cells(order, words))
    return table


def _spelled(comparison: Comparison) -> list[Text]:
    """Say each named order number by number."""
    named = [o for o in comparison.orders if o.failed is None and not o.order.startswith("[")]
    numbers = [", ".join(f"{number:.0f}" for number in order.values("numbers")) for order in named]
    return [
        Text(f"{order.order}: {told}", style="dim")
        for order, told in zip(named, numbers, strict=True)
    ]


def _cells(order: Order, words: Wording) -> list[str | Text]:
    if order.failed is not None:
        return [Text(printable(order.failed), style="red")]
    solid, flows = order.row["base_stays_solid"] is True, order.row["filler_flows"] is True
    binding = str(order.row.get("filler_binding"))
    filler = "flows" if flows else FAILS[binding].word if binding in FAILS else "fails"
    if order.row.get("surplus_K") is None:
        filler = "none"
    return [
        Text("solid" if solid else "too hot", style="" if solid else "red"),
        _kelvin(order, "margin_K", margin_wanted(order.row), words),
        Text(filler, style="" if flows else "red"),
        _kelvin(order, "surplus_K", surplus_wanted(order.row), words),
        words.hot(order.number("tube_peak_C") + ZERO_CELSIUS),
        words.hot(order.number("hottest_start_C") + ZERO_CELSIUS),
        words.apart(order.number("spread_K")),
        f"{order.number('total_s'):.0f} s",
    ]


def _kelvin(order: Order, name: str, wanted: float, words: Wording) -> str:
    """Margin or surplus, never rounded onto what is wanted of it; "-" where there is none."""
    value = order.row.get(name)
    return "-" if value is None else words.apart(float(value), 0.0, wanted)
