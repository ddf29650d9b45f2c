"""Orders compared, as `sequences.json`, `sequences.csv` and pictures."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ...constants import ZERO_CELSIUS
from ..runs.folder import cell, write_study
from ..runs.store import RowFile
from .orders import Comparison, Order, Sequences

if TYPE_CHECKING:
    from .figure import SequencesChart

__all__ = ["OURS", "sequences_dict", "write_sequences"]

OURS = (
    "sequences.json",
    "sequences.csv",
    "rows.jsonl",
    r"figures/sequences(-interpass)?\.(png|svg)",
)
COLUMNS = (
    *("base_stays_solid", "filler_flows", "tube_peak_C", "hottest_start_C", "spread_K", "total_s"),
    *("margin_K", "surplus_K", "base_slack_K", "filler_slack_K", "filler_binding"),
    *("tube_side_surplus_K", "flange_side_surplus_K", "longest_dry_m", "tube_side_wet"),
    *("flange_side_wet", "arc_on_s", "failed"),
)
LISTS = ("numbers", "start_C", "segment_peak_C")


def sequences_dict(found: Sequences) -> dict[str, Any]:
    """Content of `sequences.json`: plain dicts, lists and numbers."""
    told = {"title": found.case.title, "detail": found.case.detail, **_comparison(found.pause)}
    below = found.case.travel.resume_below
    if found.interpass is not None and below is not None:
        told["equal_interpass"] = {
            "resume_below_C": round(below - ZERO_CELSIUS, 6),
            **_comparison(found.interpass),
        }
    return told | {"notes": list(found.notes)}


def _comparison(comparison: Comparison) -> dict[str, Any]:
    return {
        "orders": [_order(order) for order in comparison.orders],
        "pick": None if comparison.pick is None else comparison.pick.order,
        "why": comparison.why,
        "same_starts": comparison.same_starts,
        "same_peaks": comparison.same_peaks,
    }


def _order(order: Order) -> dict[str, Any]:
    told: dict[str, Any] = {"order": order.order}
    told |= {name: order.row.get(name) for name in COLUMNS}
    if order.failed is None:
        numbers, starts, peaks = (order.values(name) for name in LISTS)
        told["segments"] = [
            {"number": int(n), "start_C": start, "tube_peak_C": peak if np.isfinite(peak) else None}
            for n, start, peak in zip(numbers, starts, peaks, strict=True)
        ]
    return told


def _csv(found: Sequences) -> str:
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(["compared", "rank", "order", *COLUMNS])
    sets = [("equal pause", found.pause), ("equal interpass", found.interpass)]
    for name, comparison in sets:
        if comparison is not None:
            for rank, order in enumerate(comparison.orders, start=1):
                cells = (cell(order.row.get(column)) for column in COLUMNS)
                table.writerow([name, rank, order.order, *cells])
    return text.getvalue()


def write_sequences(found: Sequences, folder: Path, store: RowFile) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    told, table = sequences_dict(found), _csv(found)
    return write_study(folder, OURS, told, [table], store, lambda fresh: _figures(found, fresh))


def _figures(found: Sequences, folder: Path) -> list[Path]:
    from ...report.figures import write_figure  # matplotlib takes half a second

    (folder / "figures").mkdir()
    paths: list[Path] = []
    sets = [("sequences", found.pause), ("sequences-interpass", found.interpass)]
    for name, comparison in sets:
        chart = None if comparison is None else chart_of(found, comparison)
        if chart is not None:
            from .figure import sequences

            paths += write_figure(sequences(chart), folder / f"figures/{name}.png")
    return [path.relative_to(folder) for path in paths]


def chart_of(found: Sequences, comparison: Comparison) -> SequencesChart | None:
    """What the figure shows of a comparison, or None if no order could be computed."""
    from ...report.figures.style import Units, short
    from .figure import SequenceLine, SequencesChart

    case = found.case
    lines = [
        SequenceLine(
            name=order.order,
            note=_note(order),
            pick=order is comparison.pick,
            ring=np.array(order.values("ring_peak_C")) + ZERO_CELSIUS,
            numbers=np.array(order.values("numbers")),
            starts=np.array(order.values("start_C")) + ZERO_CELSIUS,
        )
        for order in comparison.orders
        if order.failed is None
    ]
    if not lines:
        return None
    flow = case.alloys[case.fillet.filler].liquidus if case.fillet else None
    solidus = case.alloys[case.tube.alloy].solidus
    rhythm = "equal pause" if comparison is found.pause else "equal interpass"
    pick = comparison.pick
    told = "no order works"
    if pick is not None:
        told = f"{short(pick.order, 24)} is best, its peaks {pick.number('spread_K'):.0f} K apart"
    return SequencesChart(
        title=f"{short(case.title, 36)}, {rhythm}: {told}",
        lines=tuple(lines),
        segments=case.segment_count,
        flow=float("nan") if flow is None else flow,
        solidus=float("nan") if solidus is None else solidus,
        units=Units.of(case),
    )


def _note(order: Order) -> str:
    """What a run came to: margin and surplus where there are any, spread, time."""
    names = {"margin": "margin_K", "surplus": "surplus_K", "spread": "spread_K"}
    values = {word: order.number(name) for word, name in names.items()}
    told = [f"{word} {value:.0f} K" for word, value in values.items() if np.isfinite(value)]
    failed = [] if order.works else ["does not work"]
    return ", ".join([*told, f"{order.number('total_s'):.0f} s", *failed])
