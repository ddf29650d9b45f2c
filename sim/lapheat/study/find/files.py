"""What was found, as `find.json`, `find.csv`, a case file that runs, and a picture."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

from ...case.faults import printable_lines
from ...case.file import case_to_toml, digest_of
from ..runs.folder import cell, write_study
from ..runs.store import RowFile
from .instead import Change
from .seek import Found
from .trying import Pick

__all__ = ["OURS", "find_dict", "write_find"]

OURS = (
    *("find.json", "find.csv", "case.toml", "rows.jsonl", r"figures/find\.(png|svg)"),
    r"\.?case\..+/",  # results of a case it wrote, kept when that is written anew
)
CONFIRMED = (
    *("base_stays_solid", "filler_flows", "margin_K", "surplus_K", "tube_margin_K"),
    *("flange_margin_K", "tube_side_wet", "flange_side_wet", "total_s", "arc_on_s", "failed"),
)


def find_dict(found: Found) -> dict[str, Any]:
    """Content of `find.json`: plain dicts, lists and numbers."""
    plan = found.plan
    return {
        "title": plan.case.title,
        "case": digest_of(found.case),
        "sure": plan.sure,
        "seed": plan.seed,
        "detail": plan.detail,
        "own_detail": plan.case.detail,
        "free": list(plan.free),
        "hands": [_pick(pick) for pick in found.hands],
        "picks": [_pick(pick) for pick in found.picks],
        "pick": None if found.pick is None else _pick(found.pick),
        "why": found.why,
        "edges": found.edges,
        "notes": list(found.notes),
        "binding": found.binding or None,
        "instead": [_change(change) for change in found.instead],
        "runs": found.runs[0],
        "own_runs": found.runs[1],
        "explained": {"base": found.q2[0], "filler": found.q2[1]},
    }


def _pick(pick: Pick) -> dict[str, Any]:
    return {
        "hand": pick.hand,
        "inputs": dict(pick.inputs),
        "chance": pick.chance,
        "low": pick.low,
        "high": pick.high,
        "total_s": pick.time,
        "benches": pick.benches,
        "fails": pick.fails,
        "close_to_melting": pick.close,
        "own_mesh_differs_K": {"base": pick.shift[0], "filler": pick.shift[1]}
        if pick.benches
        else None,
        "confirmed": None
        if pick.confirmed is None
        else {name: pick.confirmed.get(name) for name in CONFIRMED},
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        "name": change.name,
        "inputs": dict(change.inputs),
        "margin_K": change.base,
        "slack_K": change.filler,
        "chance": change.chance,
        "low": change.low,
        "high": change.high,
        "benches": change.benches,
        "counted": change.counted,
    }


def _csv(found: Found) -> str:
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    keys = list(dict.fromkeys(key for pick in found.picks for key, _ in pick.inputs))
    rows.writerow(["rank", "hand", *keys, "chance", "low", "high", "total_s", "benches"])
    for rank, pick in enumerate(found.picks, start=1):
        inputs = dict(pick.inputs)
        numbers = (pick.chance, pick.low, pick.high, pick.time, pick.benches)
        rows.writerow(
            [rank, pick.hand, *(inputs.get(key, "") for key in keys), *map(cell, numbers)]
        )
    if found.instead:
        rows.writerow([])
        names = ("margin_K", "slack_K", "chance", "low", "high", "benches", "counted")
        rows.writerow(["what would help", "change", *names])
    for rank, change in enumerate(found.instead, start=1):
        told = _change(change)
        text_of = "; ".join(f"{key} = {value}" for key, value in change.inputs)
        rows.writerow([rank, text_of, *(cell(told[name]) for name in names)])
    return text.getvalue()


def write_find(found: Found, folder: Path, store: RowFile) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all.

    `case.toml` is the case with the first pick's settings, whether or not it is sure enough.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    unsure = "" if found.pick else "# Not sure enough: " + printable_lines(found.why) + ".\n"
    texts = [_csv(found), unsure + case_to_toml(found.case, as_written=True)]
    return write_study(
        folder, OURS, find_dict(found), texts, store, lambda fresh: _figures(found, fresh)
    )


def _figures(found: Found, folder: Path) -> list[Path]:
    from ...report.figures import write_figure  # matplotlib takes half a second
    from .figure import chances

    (folder / "figures").mkdir()
    files = write_figure(chances(found), folder / "figures" / "find.png")
    return [path.relative_to(folder) for path in files]
