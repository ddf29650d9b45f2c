"""Runs side by side, as `compare.json`, `compare.csv`, `compare.html` and a picture."""

from __future__ import annotations

import csv
import io
from datetime import date
from pathlib import Path
from typing import Any

from ...outcomes.outcomes import DIGITS
from ...report.folder import write_folder, write_json
from ..runs.folder import cell
from .compare import Comparison, Difference
from .entries import Entry, Value

__all__ = ["OURS", "compare_csv", "compare_dict", "write_compare"]

OURS = ("compare.json", "compare.csv", "compare.html", r"figures/compare\.(png|svg)")


def compare_dict(found: Comparison) -> dict[str, Any]:
    """Content of `compare.json`: plain dicts, lists and numbers."""
    rows = (*found.settings, *(row for row in found.outcomes if row.differs))
    return {
        "runs": [_run(entry) for entry in found.entries],
        "differences": [_difference(row) for row in rows],
        "pick": None if found.pick is None else found.pick.name,
        "why": found.why,
        "notes": list(found.notes),
    }


def _run(entry: Entry) -> dict[str, Any]:
    unsure = entry.uncertainty
    return {
        "name": entry.name,
        "source": entry.source,
        "title": entry.case.title,
        "detail": entry.case.detail,
        "works": entry.works,
        "outcomes": dict(entry.told),
        "uncertainty": None if unsure is None else {k: _short(v) for k, v in unsure.items()},
    }


def _difference(row: Difference) -> dict[str, Any]:
    told: dict[str, Any] = {"kind": row.kind, "name": row.name, "values": list(row.values)}
    if row.kind == "outcome":
        told["changes"] = [_short(value) for value in row.changes]
        told["uncertainties"] = [_short(value) for value in row.uncertainties]
    return told


def _short(value: Value) -> Value:
    return float(f"{value:.{DIGITS}g}") if isinstance(value, float) else value


def compare_csv(found: Comparison) -> str:
    """Table of `compare.csv`: settings that differ, then every outcome, a column a run."""
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    names = [entry.name for entry in found.entries]
    later = [f"{name} {what}" for name in names[1:] for what in ("change", "uncertainty")]
    table.writerow(["kind", "name", *names, *later])
    for row in (*found.settings, *found.outcomes):
        pairs = zip(row.changes[1:], row.uncertainties[1:], strict=True)
        numbers = (_short(value) for pair in pairs for value in pair)
        table.writerow([row.kind, row.name, *map(cell, row.values), *map(cell, numbers)])
    return text.getvalue()


def write_compare(found: Comparison, folder: Path) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """

    def fill(fresh: Path) -> list[Path]:
        from ...report.figures import write_figure  # matplotlib takes half a second
        from .figure import overlaid
        from .page import compare_html

        write_json(fresh / "compare.json", compare_dict(found))
        (fresh / "compare.csv").write_text(compare_csv(found), "utf-8", newline="")
        (fresh / "figures").mkdir()
        pictures = write_figure(overlaid(found), fresh / "figures/compare.png")
        page = compare_html(found, pictures[0], date.today().isoformat())
        (fresh / "compare.html").write_text(page, "utf-8")
        return [*map(Path, OURS[:-1]), *(path.relative_to(fresh) for path in pictures)]

    return write_folder(folder, fill, OURS)
