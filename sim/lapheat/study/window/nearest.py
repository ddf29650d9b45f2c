"""Where nothing on a window works: what comes nearest, and which keys would open it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace

from ...case.case import Case
from ...case.file import CaseError
from ...case.file.every_key import settings_of
from ...case.units import TEMPERATURE, TIME, in_unit, read_quantity
from ...outcomes.wording import listed
from ..runs.axes import Axis, about_own
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.standing import standing
from ..runs.trial import Trial, run_trial
from .map import MEASURES, Place, Sweep, knob_of
from .search import FreeTrial, run_free, start_of, worst_of
from .tried import Difference, Option, Pick, full, least

__all__ = ["missed"]

# What a person can turn; under a pedal the current is the hand's and the hold takes its place.
LEVERS = (
    "arc.current",
    "arc.hold",
    "arc.aim",
    "arc.work_angle",
    "travel.speed",
    "travel.dwell",
    "travel.segment",
    "travel.pause",
    "travel.resume_below",
)
TOGETHER = 3  # keys turned at once, at most
DWELL = (0.0, 8.0)  # [s] to search where the case has none
HELPS = 2.0  # [K]: a key that gains less is not named


@dataclass(frozen=True)
class _Lever:
    """Keys turned from the nearest miss on: new values as text, and what that leaves [K]."""

    values: tuple[tuple[str, str], ...]
    worst: float

    def moved(self, before: Mapping[str, str]) -> list[str]:
        """Say "arc.current = 75 A (70 A there)" of each key that a settable step has moved."""
        return [
            f"{key} = {text} ({before[key]} there)"
            for key, text in self.values
            if text != before[key]
        ]

    def told(self, before: Mapping[str, str]) -> str:
        """Say all of them in one line."""
        return listed(self.moved(before))


def missed(
    sweep: Sweep, options: Sequence[Option], looked: Mapping[Place, Difference]
) -> Planner[Pick]:
    """Say what comes nearest, and which keys, alone or together, open the window from there."""
    best = max(options, key=lambda option: least(option, looked), default=None)
    if best is None:
        reasons = sorted({str(run.row.get("failed")) for run in sweep.sorted()})
        return Pick(None, None, f"no run succeeded: {reasons[0]}")
    (known,) = yield from full(sweep, [best], "the nearest miss")
    at = ", ".join(f"{key} = {value}" for key, value in best.inputs)
    why = f"nothing works; the nearest miss is {at}, where {standing(known.row, sweep.words)}"
    if known.run.row.get("failed") is not None:
        return Pick(None, None, f"{why}: {known.run.row['failed']}", known.run)
    lever = yield from _lever(sweep, known)
    return Pick(None, None, f"{why}; {lever}", known.run)


def _lever(sweep: Sweep, known: Difference) -> Planner[str]:
    """Turn each key alone from the nearest miss on, then those that help most together."""
    inputs, shift = known.run.inputs, worst_of(known.row) - worst_of(known.run.row)
    trial = Trial(sweep.plan.source, inputs, sweep.plan.detail)
    case = trial.case()
    axes = {axis.key: axis for axis in _axes(sweep, case)}
    before = {key: _own(axis, case) for key, axis in axes.items()}
    alone = yield from _turned(trial, [(axis,) for axis in axes.values()], case, shift)
    here = worst_of(known.row)
    helps = [
        lever
        for lever in sorted(alone, key=lambda lever: -lever.worst)
        if lever.worst > here + HELPS and dict(lever.values).items() - before.items()
    ]
    tries = helps[:1]
    if len(helps) > 1 and helps[0].worst < 0.0:
        some = tuple(axes[lever.values[0][0]] for lever in helps[:TOGETHER])
        tries += yield from _turned(trial, [some], case, shift)
    for lever in tries:
        if lever.worst < 0.0:
            continue
        whole = replace(trial, inputs=(*inputs, *lever.values), detail=None)
        (row,) = yield Round("trying what may open it", run_trial, [whole])
        if all(row.get(flag) is True for flag in MEASURES):
            return f"{lever.told(before)} opens the window: {standing(row, sweep.words)}"
        return f"{lever.told(before)} nearly opens it: {standing(row, sweep.words)}"
    if not tries:
        return "no key of the arc or of the rhythm helps from there"
    lever = max(tries, key=lambda lever: lever.worst)
    left, was = (sweep.words.apart(-short) for short in (lever.worst, here))
    short = f"{left} short of what is wanted, where the miss is {was} short"
    come = "come" if len(lever.moved(before)) > 1 else "comes"
    return f"no key opens it from there; {lever.told(before)} {come} closest, {short}"


def _turned(
    trial: Trial, sets: Sequence[tuple[Axis, ...]], case: Case, shift: float
) -> Planner[list[_Lever]]:
    """Search each set of keys, then run what was found as a person can set it."""
    searches = [FreeTrial(trial, axes, start_of(case, axes)) for axes in sets]
    rows = yield Round("looking for keys that help", run_free, searches)
    values = [_settable(axes, row, case) for axes, row in zip(sets, rows, strict=True)]
    trials = [replace(trial, inputs=(*trial.inputs, *each)) for each in values if each]
    again = yield Round("the same in settable steps", run_trial, trials)
    found = zip([each for each in values if each], again, strict=True)
    return [_Lever(each, worst_of(row) + shift) for each, row in found]


def _settable(axes: Sequence[Axis], row: Row, case: Case) -> tuple[tuple[str, str], ...]:
    if row.get("failed") is not None:
        return ()
    return tuple(
        (axis.key, _text(axis, float(read_quantity(row[axis.key], axis.kind)), case))
        for axis in axes
    )


def _text(axis: Axis, value: float, case: Case) -> str:
    return knob_of(axis, case).settable(value)[1]


def _own(axis: Axis, case: Case) -> str:
    """Value of a case, in the axis' unit."""
    value = next(row.value for row in settings_of(case) if row.key == axis.key)
    assert isinstance(value, float)  # or there would be no such axis
    return axis.text(in_unit(value, axis.kind, axis.unit))


def _axes(sweep: Sweep, case: Case) -> Iterator[Axis]:
    """Ranges to search: of keys not varied about the case's own, of varied ones past their ends."""
    varied = {axis.key: axis for axis in sweep.plan.axes}
    free = {axis.key for axis in sweep.plan.free}
    pedal = case.arc.control == "pedal"
    for key in LEVERS:
        if key in free or key == ("arc.current" if pedal else "arc.hold"):
            continue
        if key == "arc.work_angle" and case.brazed is None:  # a bead has none
            continue
        if key in varied:
            axis = varied[key]
            low, high = axis.values[0], axis.values[-1]
            if axis.kind is TEMPERATURE:
                yield replace(axis, values=(low - 0.5 * axis.span, high + 0.5 * axis.span))
            elif low > 0.0:
                yield replace(axis, values=(0.5 * low, 2.0 * high))
            continue
        if key == "travel.dwell" and case.travel.start == "timed" and case.travel.dwell == 0.0:
            yield Axis(key, "s", DWELL, TIME)
            continue
        with suppress(CaseError):  # it is off, or zero, in this case
            yield about_own("", key, case, 2)
