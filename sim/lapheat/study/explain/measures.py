"""What a run is judged by, as numbers that a key can move: what is left to each limit."""

from __future__ import annotations

import json
from dataclasses import dataclass
from math import isnan
from types import NoneType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...outcomes.findings import DrySide, DryStretch, HotFiller, Melts, OpenLap
from ...outcomes.sentence import sentences_of
from ..runs.executors import Row
from ..runs.slacks import LABELS, slacks_of
from ..runs.store import reads
from ..runs.trial import Trial, check_row, row_of, run_to

if TYPE_CHECKING:
    from ...api import Result
    from ...outcomes.findings import Finding

__all__ = [
    "CHANGES",
    "MEASURES",
    "Measure",
    "Told",
    "asked",
    "findings_of",
    "run_explained",
    "slacks",
]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Measure:
    """A number that a limit is held against.

    Attributes
    ----------
    finding : its name in `outcomes.json`, which names the finding too
    row : its name in a row
    word : for people
    """

    finding: str
    row: str
    word: str


ROWS = {
    "tube.margin_K": "tube_margin_K",
    "flange.margin_K": "flange_margin_K",
    "filler.tube_side_surplus_K": "tube_side_surplus_K",
    "filler.flange_side_surplus_K": "flange_side_surplus_K",
    "filler.stretch_surplus_K": "stretch_surplus_K",
    "filler.superheat_K": "superheat_K",
    "soundness.lap_filled": "lap_filled",
}
MEASURES = tuple(Measure(outcome, ROWS[outcome], word) for outcome, word in LABELS.items())
CHANGES = (*(m.row for m in MEASURES), "tube_side_wet", "flange_side_wet", "total_s")
"""What a lever's change is told of."""


@dataclass(frozen=True)
class Told:
    """A finding of a run: its measure's name in `outcomes.json`, and its clause."""

    finding: str
    says: str


def run_explained(trial: Trial) -> Row:
    """Run a trial; beside `row_of` its row holds what fails, in words, and what the hand did.

    `findings` is JSON: a list of names in `outcomes.json` with a clause each. `on_limit` says
    that a pedal sat on a limit of its range, `cold_start` that a wait for flow ended without.
    """
    return run_to(trial, _row)


def _row(result: Result) -> Row:
    told, judgement = result.outcomes, result.outcomes.verdict.judgement
    clauses = sentences_of(judgement) if judgement.findings else []
    named = zip(map(_name, judgement.findings), clauses[-len(judgement.findings) :], strict=False)
    current = told.current
    return row_of(result) | {
        "superheat_K": _tidy(told.filler.superheat_K) if told.filler else None,
        "lap_filled": _tidy(told.soundness.lap_filled),
        "findings": json.dumps([[name, says] for name, says in named if name]),
        "on_limit": bool(current.on_low_limit_s or current.on_high_limit_s),
        "cold_start": any(run.flowed_at_start is False for run in told.segments),
    }


def _check(task: Trial, row: Row) -> None:
    check_row(task, row)
    named = [(str(name), str(says)) for name, says in json.loads(str(row["findings"]))]
    kinds = {"superheat_K": (float, int, NoneType), "lap_filled": (float, int)}
    kinds |= {"on_limit": (bool,), "cold_start": (bool,)}
    if json.dumps(named) != row["findings"] or any(type(row[k]) not in v for k, v in kinds.items()):
        raise ValueError("findings")


reads(run_explained, _check)


def _tidy(value: float | None) -> float | None:
    return None if value is None or isnan(value) else float(f"{value:.10g}")


def _name(finding: Finding) -> str:
    """Name of the measure that a finding fails; "" for one that fails none of its own."""
    match finding:
        case Melts():
            return finding.part.outcome
        case DrySide():
            return finding.side.outcome
        case DryStretch():
            return "filler.stretch_surplus_K"
        case HotFiller():
            return "filler.superheat_K"
        case OpenLap():
            return "soundness.lap_filled"
    return ""


def findings_of(row: Row) -> tuple[Told, ...]:
    """What fails, the gravest first; of findings on one measure only the first."""
    pairs = json.loads(str(row.get("findings") or "[]"))
    seen: dict[str, str] = {}
    for name, says in pairs:
        seen.setdefault(name, says)
    return tuple(Told(name, says) for name, says in seen.items())


def asked(case: Case) -> tuple[Measure, ...]:
    """Measures that a case has a limit for."""
    limits = case.limits
    has = {
        "tube_margin_K": case.alloys[case.tube.alloy].solidus is not None,
        "flange_margin_K": case.flange is not None
        and case.alloys[case.flange.alloy].solidus is not None,
        "superheat_K": case.brazed is not None and limits.filler_superheat is not None,
        "lap_filled": case.brazed is not None and limits.lap_filled > 0.0,
    }
    return tuple(m for m in MEASURES if has.get(m.row, case.brazed is not None))


def slacks(row: Row, case: Case) -> Array:
    """What is left to each limit that a case asks for; below 0 it fails.

    Returns
    -------
    slacks : in the order of `asked` [K], of the lap in per cent; nan in a run that failed
    """
    if row.get("failed") is not None:
        return np.full(len(asked(case)), np.nan)
    names = {measure.finding: measure.row for measure in asked(case)}

    def value(outcome: str) -> float | None:
        return float(row[names[outcome]] or 0.0) if outcome in names else None

    return np.array([slack.kelvin for slack in slacks_of(value, case.limits)])
