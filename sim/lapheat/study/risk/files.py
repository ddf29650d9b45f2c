"""A risk as `risk.json`, `risk.csv` and a picture."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any

import numpy as np

from ...case.file import digest_of
from ...case.units import in_unit
from ..chance.samples import Chance
from ..chance.smooth import Smooth
from ..runs.folder import cell, write_study
from ..runs.store import RowFile
from .risk import Event, Risk
from .tasks import DIGITS

__all__ = ["OURS", "risk_dict", "write_risk"]

OURS = ("risk.json", "risk.csv", "rows.jsonl", r"figures/risk\.(png|svg)")
COLUMNS = (
    *(
        "margin_K",
        "surplus_K",
        "filler_slack_K",
        "tube_margin_K",
        "flange_margin_K",
        "tube_side_wet",
    ),
    *("tube_side_surplus_K", "flange_side_surplus_K", "longest_dry_m", "filler_binding"),
    *("flange_side_wet", "base_stays_solid", "filler_flows", "total_s", "failed"),
)


def risk_dict(risk: Risk) -> dict[str, Any]:
    """Content of `risk.json`: plain dicts, lists and numbers."""
    plan = risk.plan
    return {
        "title": plan.case.title,
        "case": digest_of(plan.case),
        "samples": len(risk.rows),
        "asked": plan.samples,
        "failed": risk.failed,
        "seed": plan.seed,
        "detail": plan.detail,
        "own_detail": plan.case.detail,
        "success": _success(risk.fails),
        "success_at_own_detail": _of_others(risk.shifted),
        "base_melts": _event(risk.base),
        "base_short_of_margin": {**_chance(risk.short), "margin_K": plan.case.limits.base_margin},
        "filler_cold": _event(risk.filler)
        | ({} if risk.filler is None else {"fails_by": risk.filler_fails}),
        "trusted": risk.trusted,
        "drivers": [
            {
                "input": driver.input.name,
                "key": driver.input.key,
                "share_base": _share(driver.base, 0),
                "share_filler": _share(driver.filler, 0),
                "total_base": _share(driver.base, 1),
                "total_filler": _share(driver.filler, 1),
                "base_margin_K": _kelvin(driver.base_slope),
                "filler_surplus_K": _kelvin(driver.filler_slope),
            }
            for driver in risk.drivers
        ],
        "inputs": [
            {
                "input": item.name,
                "key": item.key,
                "value": item.value,
                "unit": item.kind.si,
                "spread": item.spread.size,
                "way": item.spread.way,
                "told": item.told,
            }
            for item in plan.inputs
        ],
    }


def _chance(chance: Chance) -> dict[str, Any]:
    low, high = (float(f"{end:.6g}") for end in chance.interval)
    value = float(f"{chance.value:.6g}")
    return {"chance": value, "low": low, "high": high, "hits": chance.hits, "runs": chance.count}


def _ends(smooth: Smooth) -> dict[str, float]:
    ends = {"chance": smooth.chance, "low": smooth.low, "high": smooth.high}
    return {name: float(f"{value:.6g}") for name, value in ends.items()}


def _way(smooth: Smooth) -> str:
    return "integrated" if smooth.used else "counted"


def _success(fails: Smooth) -> dict[str, Any]:
    ends = Smooth(1.0 - fails.chance, 1.0 - fails.high, 1.0 - fails.low, fails.q2, fails.used)
    return {**_ends(ends), "way": _way(fails)}


def _of_others(fails: Chance | None) -> dict[str, Any] | None:
    """Chance of success from that of failing."""
    if fails is None:
        return None
    low, high = fails.interval
    good = fails.count - fails.hits
    ends = {"chance": 1.0 - fails.value, "low": 1.0 - high, "high": 1.0 - low}
    told = {name: float(f"{value:.6g}") for name, value in ends.items()}
    return {**told, "hits": good, "runs": fails.count}


def _event(event: Event | None) -> dict[str, Any]:
    """Chance of an event; one that cannot be has no shares."""
    if event is None:
        return {"chance": 0.0, "low": 0.0, "high": 0.0, "hits": 0, "runs": 0, "possible": False}
    shares = event.shares
    return {
        **_chance(event.chance),
        **_ends(event.smooth),
        "way": _way(event.smooth),
        "counted": _chance(event.chance),
        "own_detail_differs_K": _kelvin(event.difference),
        "at_own_detail": None if event.shifted is None else _chance(event.shifted),
        "q2": None if shares is None else round(shares.q2, DIGITS),
        "error_K": None if shares is None else _kelvin(shares.error),
        "possible": True,
    }


def _share(pair: tuple[float, float] | None, which: int) -> float | None:
    return None if pair is None else pair[which]


def _kelvin(value: float | None) -> float | None:
    return None if value is None else round(value, 1)


def _csv(risk: Risk) -> str:
    inputs = risk.plan.inputs
    units = [item.kind.resolved for item in inputs]
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    names = (f"{i.key} [{u}]" if u else i.key for i, u in zip(inputs, units, strict=True))
    table.writerow([*names, *COLUMNS])
    for point, row in zip(risk.at, risk.rows, strict=True):
        values = (in_unit(i.at(z), i.kind, u) for i, z, u in zip(inputs, point, units, strict=True))
        table.writerow(
            [*(f"{value:.6g}" for value in values), *(cell(row.get(n)) for n in COLUMNS)]
        )
    return text.getvalue()


def write_risk(risk: Risk, folder: Path, store: RowFile) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    return write_study(
        folder, OURS, risk_dict(risk), [_csv(risk)], store, lambda fresh: _figure(risk, fresh)
    )


def _figure(risk: Risk, folder: Path) -> list[Path]:
    from ...report.figures import write_figure  # matplotlib takes half a second
    from .figure import RiskChart, RiskPanel
    from .figure import risk as draw

    panels = []
    wanted = risk.plan.case.limits.base_margin
    for event, what in (
        (
            risk.base,
            ("Base melts", "margin: solidus less peak (K)", "melts", "stays solid", wanted),
        ),
        (
            risk.filler,
            ("Filler fails", "slack of the filler over what is wanted (K)", "fails", "flows", 0.0),
        ),
    ):
        if event is not None:
            panels.append(
                RiskPanel(
                    *what,
                    values=event.values[np.isfinite(event.values)],
                    chance=event.smooth.chance,
                    interval=(event.smooth.low, event.smooth.high),
                    names=tuple(item.name for item in risk.plan.inputs),
                    shares=event.shares,
                    slopes=event.slopes,
                )
            )
    (folder / "figures").mkdir()
    chart = RiskChart(risk.plan.case.title, tuple(panels))
    files = write_figure(draw(chart), folder / "figures" / "risk.png")
    return [path.relative_to(folder) for path in files]
