"""Levers and advice, as `explain.json`, `explain.csv` and a picture."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ...case.file import digest_of
from ...case.file.every_key import settings_of
from ...case.units import write_quantity
from ...outcomes.wording import listed
from ..runs.folder import cell, write_study
from ..runs.settable import STEPS
from ..runs.slacks import LABELS
from ..runs.standing import standing
from ..runs.store import RowFile
from .explain import Explained
from .groups import SPARE, TIME, groups_of
from .measures import CHANGES, asked, slacks
from .search import Advice
from .words import change_of, changes_told, turned

__all__ = ["OURS", "advice_head", "advice_told", "explain_dict", "write_explain"]

GOALS = {"limits": "Mends it at the nominal settings", "margin": "More to spare", "time": "Quicker"}
OURS = ("explain.json", "explain.csv", "rows.jsonl", r"figures/levers\.(png|svg)")
SERVES = LABELS | {SPARE: "more to spare", TIME: "less time"}
CONFIRMED = (
    *("base_stays_solid", "filler_flows", "margin_K", "surplus_K", *CHANGES),
    *("longest_dry_m", "failed"),
)


def explain_dict(found: Explained) -> dict[str, Any]:
    """Content of `explain.json`: plain dicts, lists and numbers."""
    case = found.case
    spare = dict(zip((m.finding for m in asked(case)), slacks(found.own, case), strict=True))
    return {
        "title": case.title,
        "case": digest_of(case),
        "detail": found.detail,
        "own_detail": case.detail,
        "works": found.works,
        "findings": [
            {"finding": told.finding, "slack": round(float(spare[told.finding]), 4),
             "says": told.says}
            for told in found.findings
        ],
        "levers": list(_levers(found)),
        "advice": [_advice(advice, found) for advice in found.advice],
        "runs": found.runs[0],
        "own_runs": found.runs[1],
    }  # fmt: skip


def _levers(found: Explained) -> Iterator[dict[str, Any]]:
    for group in groups_of(found):
        for pull, gain in group.pulls:
            change = change_of(pull.row, found.base)
            before, after = pull.lever.own.text, pull.to.text
            words = turned(pull.lever.key, before, after)
            yield {
                "finding": group.finding,
                "serves": SERVES[group.finding],
                "key": pull.lever.key,
                "from": before,
                "to": after,
                "gain": round(gain, 4),
                "says": f"{words}: {changes_told(change, found.case)}",
                "change": change,
            }


def _advice(advice: Advice, found: Explained) -> dict[str, Any]:
    return {
        "goal": advice.goal,
        "head": advice_head(advice, found),
        "inputs": dict(advice.inputs),
        "works": advice.works,
        "says": advice_told(advice, found),
        "confirmed": {name: advice.row.get(name) for name in CONFIRMED},
    }


def advice_head(advice: Advice, found: Explained) -> str:
    """Say what a change serves, how many keys it takes, and on which mesh that was confirmed."""
    count = {1: "one key", 2: "a pair"}.get(len(advice.inputs), f"{len(advice.inputs)} keys")
    head = f"{GOALS[advice.goal]} with {count}" if advice.works else f"Comes nearest, {count}"
    return f"{head}, at {found.case.detail} detail"


def advice_told(advice: Advice, found: Explained) -> str:
    """Say what to turn, and what came of it on the case's own mesh."""
    own = {s.key: s.value for s in settings_of(found.case)}
    turns = []
    for key, text in advice.inputs:
        before = found.case.written.get(key) or write_quantity(float(own[key]), STEPS[key].kind)  # type: ignore[arg-type]  # a lever is a number
        turns.append(turned(key, before, text))
    return f"{listed(turns)}: {standing(advice.row)}"


def _csv(found: Explained) -> str:
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow(["finding", "key", "from", "to", "gain", *CHANGES])
    for lever in _levers(found):
        cells = [lever[name] for name in ("finding", "key", "from", "to", "gain")]
        table.writerow([*cells, *(cell(lever["change"][name]) for name in CHANGES)])
    return text.getvalue()


def write_explain(found: Explained, folder: Path, store: RowFile) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    told, table = explain_dict(found), _csv(found)
    return write_study(folder, OURS, told, [table], store, lambda fresh: _figures(found, fresh))


def _figures(found: Explained, folder: Path) -> list[Path]:
    from ...report.figures import write_figure  # matplotlib takes half a second
    from .figure import levers

    (folder / "figures").mkdir()
    paths = write_figure(levers(found), folder / "figures" / "levers.png")
    return [path.relative_to(folder) for path in paths]
