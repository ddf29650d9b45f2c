"""Points of a window run in full and on benches: what a setting is worth before it is picked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite

import numpy as np
from numpy.typing import NDArray

from ..chance.bench import seed_of
from ..chance.samples import Benched, on_benches
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.trial import Trial, run_trial
from .map import MEASURES, Place, Run, Sweep, slack

__all__ = [
    "AT_ONCE",
    "BENCHES",
    "Difference",
    "Option",
    "Pick",
    "Picks",
    "full",
    "least",
    "options_of",
    "probe",
    "shifts_at",
    "time_of",
    "with_benches",
]

Array = NDArray[np.float64]

BENCHES = 64  # that a pick is tried on: as many as the fitted response of `on_benches` asks for
AT_ONCE = 2  # the same on every machine, so that every machine picks the same


@dataclass(frozen=True)
class Difference:
    """A point at the case's own detail: `row` there, and how far it is from the map's [K]."""

    run: Run
    row: Row
    base: float
    filler: float


@dataclass(frozen=True)
class Option:
    """A point that a person can set: where, keys and values, and the run of the map next to it."""

    place: Place
    inputs: tuple[tuple[str, str], ...]
    like: Run


@dataclass(frozen=True)
class Pick:
    """The point picked, or None, and why.

    Attributes
    ----------
    run : at the map's detail
    confirmed : row of the full run
    why : in a sentence
    nearest : where nothing works, what comes closest
    benched : what fresh benches say
    """

    run: Run | None
    confirmed: Row | None
    why: str
    nearest: Run | None = None
    benched: Benched | None = None


@dataclass(frozen=True)
class Picks:
    """The quickest, or why there is none; the safest, which may be the same; None if none works."""

    quickest: Pick
    safest: Pick | None = None


def probe(sweep: Sweep) -> Planner[list[Difference]]:
    """Compare two runs, one by each boundary, with the same at the case's own detail."""
    if sweep.plan.detail == sweep.case.detail:
        return []
    chosen: list[Run] = []
    for measure in MEASURES.values():
        near = [
            (abs(slack(run.row, measure)), run.place, run)
            for run in sweep.sorted()
            if isfinite(slack(run.row, measure)) and run not in chosen
        ]
        if near:
            chosen.append(min(near)[2])
    trials = [Trial(sweep.plan.source, run.inputs, None) for run in chosen]
    rows = yield Round("map against own detail", run_trial, trials, later=sweep.after)
    return [_apart(run, row) for run, row in zip(chosen, rows, strict=True)]


def _apart(run: Run, row: Row) -> Difference:
    """Compare two meshes; a run that fails on its own mesh says nothing about others."""
    apart = []
    for measure in MEASURES.values():
        own, ours = slack(row, measure), slack(run.row, measure)
        apart.append(own - ours if isfinite(own) and isfinite(ours) else 0.0)
    return Difference(run, row, *apart)


def options_of(sweep: Sweep) -> list[Option]:
    """Points that a person can set, each beside a run that succeeded."""
    best: dict[Place, tuple[float, Option]] = {}
    for run in sweep.sorted():
        if run.row.get("failed") is None:
            place, inputs = sweep.settable(run)
            far = _far(place, run.place)
            if place not in best or far < best[place][0]:
                best[place] = far, Option(place, inputs, run)
    return [best[place][1] for place in sorted(best)]


def full(
    sweep: Sweep, options: Sequence[Option], doing: str, later: int = 0
) -> Planner[list[Difference]]:
    """Run settings at the map's detail and at the case's own; the map keeps the first."""
    plan = sweep.plan
    details = (plan.detail,) if plan.detail == sweep.case.detail else (plan.detail, None)
    trials = [Trial(plan.source, option.inputs, d) for option in options for d in details]
    rows = yield Round(doing, run_trial, trials, later)
    found, each = [], len(details)
    for i, option in enumerate(options):
        run = Run(option.place, option.inputs, rows[i * each])
        sweep.runs.setdefault(option.place, run)
        found.append(_apart(run, rows[(i + 1) * each - 1]))
    return found


def with_benches(
    sweep: Sweep, known: Difference, why: str, doing: str, benches: int = BENCHES, later: int = 0
) -> Planner[tuple[Pick, Array, list[Row]]]:
    """Try a setting that was run in full on fresh benches; its own mesh's difference is put on.

    Returns the pick, where the benches lie (n, inputs), and their rows.
    """
    plan, run = sweep.plan, known.run
    seed, shift = seed_of(0, f"fresh benches {run.place}"), (known.base, known.filler)
    found, at, rows = yield from on_benches(
        plan.source, run.inputs, plan.detail, benches, seed, shift, doing, later
    )
    return Pick(run, known.row, f"{why}; {told_chance(found)}", benched=found), at, rows


def told_chance(found: Benched) -> str:
    """Say the chance with its interval, and what was run."""
    return (
        f"{100 * found.chance:.0f} % of benches succeed ({100 * found.low:.0f} to "
        f"{100 * found.high:.0f} % with 95 % confidence{', integrated' if found.smooth else ''}; "
        f"{found.hits} of {found.benches} runs)"
    )


def time_of(row: Row) -> float:
    """Total time of a row [s]; inf where there is none."""
    total = row.get("total_s")
    return inf if total is None else float(total)


def shifts_at(place: Place, looked: Mapping[Place, Difference]) -> tuple[float, float]:
    """How far margin and slack are off at the case's own detail: as at the nearest point known."""
    near = min(looked.values(), key=lambda d: _far(d.run.place, place), default=None)
    return (near.base, near.filler) if near is not None else (0.0, 0.0)


def least(option: Option, looked: Mapping[Place, Difference]) -> float:
    """Lesser of base slack and filler slack at the case's own detail, known or predicted [K]."""
    if option.place in looked:
        row, shifts = looked[option.place].row, (0.0, 0.0)
    else:
        row, shifts = option.like.row, shifts_at(option.place, looked)
    if row.get("failed") is not None:
        return -inf
    pairs = zip(MEASURES.values(), shifts, strict=True)
    return min(slack(row, measure) + shift for measure, shift in pairs)


def _far(a: Place, b: Place) -> float:
    return max((abs(x - y) for x, y in zip(a, b, strict=True)), default=0.0)
