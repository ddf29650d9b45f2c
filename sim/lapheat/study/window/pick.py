"""Which point of a window to set: the quickest that works, confirmed at the case's own detail."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from math import inf, isfinite

from ...case.file import CaseError
from ..runs.axes import Axis, about_own
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.standing import standing
from ..runs.trial import Trial, run_trial
from .map import MEASURES, Place, Run, Sweep, slack
from .search import FreeTrial, run_free, start_of, worst_of

__all__ = ["Difference", "Pick", "choose", "probe"]

TRIED = 8  # points looked at at the case's own detail before giving up
AT_ONCE = 2  # the same on every machine, so that every machine picks the same
LEVERS = (
    "arc.current",
    "arc.aim",
    "travel.speed",
    "travel.dwell",
    "travel.segment",
    "travel.pause",
    "travel.resume_below",
)


@dataclass(frozen=True)
class Difference:
    """A point at the case's own detail: `row` there, and how far it is from the map's [K]."""

    run: Run
    row: Row
    base: float
    filler: float


@dataclass(frozen=True)
class Pick:
    """The point picked: `row` of the map and `confirmed` of the full run; or None, and why.

    Where nothing works `run` is None and `nearest` comes closest.
    """

    run: Run | None
    confirmed: Row | None
    why: str
    nearest: Run | None = None


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
    return (yield from _full(sweep, chosen, "coarse against own detail"))


def _full(sweep: Sweep, runs: list[Run], doing: str) -> Planner[list[Difference]]:
    """Runs again, at the case's own detail; one that fails there says nothing about others."""
    trials = [Trial(sweep.plan.source, run.inputs, None) for run in runs]
    rows = yield Round(doing, run_trial, trials)
    found = []
    for run, row in zip(runs, rows, strict=True):
        apart = []
        for measure in MEASURES.values():
            own, ours = slack(row, measure), slack(run.row, measure)
            apart.append(own - ours if isfinite(own) and isfinite(ours) else 0.0)
        found.append(Difference(run, row, *apart))
    return found


def choose(sweep: Sweep, known: list[Difference]) -> Planner[Pick]:
    """Pick the shortest total time that keeps the case's margins.

    Parameters
    ----------
    sweep : the map
    known : from `probe`
    """
    looked = {difference.run.place: difference for difference in known}
    if sweep.plan.detail == sweep.case.detail:
        looked = {run.place: Difference(run, run.row, 0.0, 0.0) for run in sweep.sorted()}
    spent = 0
    while True:
        good = [run for run in sweep.sorted() if _least(run, looked) >= 0.0]
        good.sort(key=lambda run: (_time(run), -_least(run, looked), run.place))
        sure = next((run for run in good if run.place in looked), None)
        new = [run for run in good if run.place not in looked and _beats(run, sure)]
        if not new and sure is None:  # those that work on the map, whatever is predicted
            new = [run for run in sweep.sorted() if run.works and run.place not in looked]
            new.sort(key=lambda run: (-_least(run, looked), _time(run), run.place))
        if sure is not None and (not new or spent >= TRIED):
            return _picked(sweep, sure, looked[sure.place].row, len(good), bool(new))
        if not new or spent >= TRIED:
            return (yield from _missed(sweep, looked))
        for difference in (yield from _full(sweep, new[:AT_ONCE], "confirming the pick")):
            looked[difference.run.place] = difference
        spent += AT_ONCE


def _beats(run: Run, sure: Run | None) -> bool:
    return sure is None or _time(run) < _time(sure)


def _time(run: Run) -> float:
    total = run.row.get("total_s")
    return inf if total is None else float(total)


def _least(run: Run, looked: Mapping[Place, Difference]) -> float:
    """Lesser of base slack and filler slack at the case's own detail, known or predicted [K].

    A prediction differs from the map as the nearest point that was run on both meshes does.
    """
    if run.place in looked:
        row, shifts = looked[run.place].row, (0.0, 0.0)
    else:
        row = run.row
        near = min(looked.values(), key=lambda d: _apart(d.run.place, run.place), default=None)
        shifts = (near.base, near.filler) if near is not None else (0.0, 0.0)
    if row.get("failed") is not None:
        return -inf
    pairs = zip(MEASURES.values(), shifts, strict=True)
    return min(slack(row, measure) + shift for measure, shift in pairs)


def _apart(a: Place, b: Place) -> float:
    return max((abs(x - y) for x, y in zip(a, b, strict=True)), default=0.0)


def _picked(sweep: Sweep, run: Run, row: Row, count: int, more: bool) -> Pick:
    detail = sweep.case.detail
    foretold = f" as {detail} predicts" if detail != sweep.plan.detail else ""
    why = (
        f"the shortest total time of {count} points that work{foretold}, {row['total_s']:.0f} s: "
        f"{standing(row)}, at {detail} detail"
        + (f"; shorter ones might work, but {TRIED} tried in full did not" if more else "")
    )
    if row.get("filler_slack_K") is None:
        why += "; with no filler to melt nothing here asks for more heat, so the quickest wins"
    return Pick(run, row, why)


def _missed(sweep: Sweep, looked: Mapping[Place, Difference]) -> Planner[Pick]:
    """Say what comes nearest, and which single key would help it most."""
    runs = sweep.sorted()
    nearest = max(runs, key=lambda run: _least(run, looked))
    if _least(nearest, looked) == -inf:
        reasons = sorted({str(run.row.get("failed")) for run in runs})
        return Pick(None, None, f"no run succeeded: {reasons[0]}")
    seen = looked.get(nearest.place)
    row = nearest.row if seen is None else seen.row
    at = ", ".join(f"{key} = {value}" for key, value in nearest.inputs)
    why = f"nothing works; the nearest miss is {at}, where {standing(row)}"
    lever = yield from _lever(sweep, nearest, looked)
    return Pick(None, None, f"{why}; {lever}", nearest)


def _lever(sweep: Sweep, nearest: Run, looked: Mapping[Place, Difference]) -> Planner[str]:
    """Search each key alone from the nearest miss on, and try the best in full."""
    axes = list(_lever_axes(sweep))
    trial = Trial(sweep.plan.source, nearest.inputs, sweep.plan.detail)
    searches = [FreeTrial(trial, (a,), start_of(trial.case(), (a,))) for a in axes]
    rows = yield Round("looking for a lever", run_free, searches)
    shift = _least(nearest, looked) - worst_of(nearest.row)
    found = [
        (worst_of(row) + shift, axis.key, str(row.get(axis.key)))
        for axis, row in zip(axes, rows, strict=True)
        if row.get("failed") is None
    ]
    if not found:
        return "no single key was found to help"
    best, key, value = max(found)
    if best < 0.0:
        short = f"{-best:.0f} K short of what is wanted"
        return f"no single key opens it; {key} = {value} comes closest, {short}"
    full = replace(trial, inputs=(*trial.inputs, (key, value)), detail=None)
    (row,) = yield Round("trying the lever", run_trial, [full])
    if all(row.get(flag) is True for flag in MEASURES):
        return f"{key} = {value} there opens the window: {standing(row)}"
    return f"{key} = {value} there nearly opens it: {standing(row)}"


def _lever_axes(sweep: Sweep) -> Iterator[Axis]:
    """Ranges to search: of keys not varied about the case's own, of varied ones past their ends."""
    varied = {axis.key: axis for axis in sweep.plan.axes}
    free = {axis.key for axis in sweep.plan.free}
    for key in LEVERS:
        if key in free:
            continue
        if key in varied:
            axis = varied[key]
            low, high = axis.values[0], axis.values[-1]
            if low > 0.0:
                yield replace(axis, values=(0.5 * low, 2.0 * high))
            continue
        with suppress(CaseError):  # it is off, or zero, in this case
            yield about_own("", key, sweep.case, 2)
