"""What would help where no setting is sure enough: changes of joint, torch and fixture, each run.

Each change is run at the surest setting found, on the benches that are nearest to a limit there.
What it moves margin and slack by is put on all benches of that setting, which estimates its
chance. The most promising one, and a steadier hand, are then run on all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import partial
from math import pi

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.file import CaseError
from ...case.finding import Say
from ...case.units import ANGLE, LENGTH, TEMPERATURE, Kind
from ..chance.bench import Input, wilson
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.trial import Source, Trial, run_trial
from .knobs import Knob
from .model import measures
from .plan import FindPlan
from .space import space_of
from .trying import Inputs, Pick, Tried

__all__ = ["Change", "beyond", "changes", "most_changes", "what_would_serve"]

Array = NDArray[np.float64]

STEADIER = "a steadier hand"
# what a steadier hand halves the scatter of
HAND = ("arc_length", "speed", "aim", "work_angle", "hold")
NEAR = 2  # benches nearest to melting, and as many nearest to staying cold
PREHEAT = 130.0  # [K] above the surroundings
COOL = 353.15  # [K]
CHILL = (("length", 20e-3), ("wall", 6e-3))  # [m]
SLOWER = 0.6  # of the slowest travel that was allowed
TURN = 10.0 * pi / 180.0
FINE = {"mm": 1e-4, "in": 0.005 * 0.0254}  # [m] steps of lengths, in a shop of that unit


@dataclass(frozen=True)
class Change:
    """A change of the case, and what it does at a setting.

    Attributes
    ----------
    name : in a few words
    inputs : keys and values
    base, filler : what it puts on margin and slack [K]
    chance, low, high : that a bench succeeds then, with the 95 % interval of the benches' number
    benches : that it was run on; all of the setting's, where `counted`
    counted : whether the chance is counted, not estimated
    """

    name: str
    inputs: Inputs
    base: float
    filler: float
    chance: float
    low: float
    high: float
    benches: int
    counted: bool = False


def _steadier(entry: Input, say: Callable[..., str]) -> tuple[str, str]:
    """Scatter of an input at half its size."""
    size = 0.5 * entry.spread.size
    if entry.spread.way == "share":
        return f"scatter.{entry.name}", f"{100.0 * size:g} %"
    if entry.kind is TEMPERATURE:
        return f"scatter.{entry.name}", f"{size:g} K"
    return f"scatter.{entry.name}", say(size, entry.kind)


def changes(case: Case, inputs: Sequence[Input]) -> Iterator[tuple[str, Inputs]]:
    """Changes to try: what is thicker, warmer, chilled, aimed elsewhere, or steadier."""
    arc, bore = case.arc, case.tube.radius - case.tube.wall
    exactly = Say(case)
    fine = FINE[case.display.length]

    def say(value: float, kind: Kind = LENGTH, step: float = fine) -> str:
        return exactly(step * round(value / step) if kind is LENGTH else value, kind)

    if case.fillet is None or case.flange is None or case.lap is None:
        return
    leg, plate, wall = case.fillet.leg, case.flange.thickness, case.tube.wall
    yield "a thicker wall", (("tube.wall", say(1.25 * wall)), ("fillet.leg", exactly(leg)))
    for word, share in (("thinner", 2.0 / 3.0), ("thicker", 1.5)):
        depth = min(case.lap.depth, share * plate)
        thickness = ("flange.thickness", say(share * plate))
        yield f"a {word} flange", (thickness, ("lap.depth", say(depth)))
    for word, share in (("smaller", 0.75), ("larger", 4.0 / 3.0)):
        yield f"a {word} leg", (("fillet.leg", say(share * leg)),)
    air, resume = case.surroundings.temperature, case.travel.resume_below
    warm = ("surroundings.temperature", say(air + PREHEAT, TEMPERATURE))
    later = max(resume or 0.0, air + PREHEAT + 50.0)
    below = [] if resume is None else [("travel.resume_below", say(later, TEMPERATURE))]
    yield "part and air warm", (warm, *below)
    if resume is None or resume > COOL > air:
        yield "cooler starts", (("travel.resume_below", say(COOL, TEMPERATURE)),)
    if case.fixture.chill is None:
        sizes = [(f"fixture.chill_{part}", say(min(size, bore))) for part, size in CHILL]
        touch = ("fixture.chill_conductance", "1000 W/(m^2 K)")
        yield "a copper chill in the bore", (*sizes, touch)
    for word, turn in (("flatter", -TURN), ("steeper", TURN)):
        yield f"a {word} torch", (("arc.work_angle", say(arc.work_angle + turn, ANGLE)),)
    for word, step in (("further out", 0.4), ("further in", -0.4)):
        yield f"aimed {word}", (("arc.aim", say(arc.aim + step * arc.spot)),)
    if arc.length is not None:
        for word, share in (("shorter", 2.0 / 3.0), ("longer", 4.0 / 3.0)):
            yield f"a {word} arc", (("arc.length", say(share * arc.length)),)
    yield (
        STEADIER,
        tuple(_steadier(x, partial(say, step=0.1 * fine)) for x in inputs if x.name in HAND),
    )


def most_changes(plan: FindPlan) -> int:
    """Runs of `what_would_serve` at most: each change, then the best and a steadier hand."""
    return 2 * NEAR * (len(list(changes(plan.case, ()))) + 1) + 2 * plan.fresh


def beyond(pick: Pick, knobs: Sequence[Knob]) -> Iterator[tuple[str, Inputs]]:
    """Slower travel than was allowed, where a pick is at that end."""
    for knob in knobs:
        if knob.key == "travel.speed" and (knob.key, knob.settable(knob.low)[1]) in pick.inputs:
            yield "slower travel", ((knob.key, knob.setting(SLOWER * knob.low)),)


def what_would_serve(tried: Tried, plan: FindPlan) -> Planner[tuple[tuple[Change, ...], int]]:
    """Run each change; the most promising first, and how many runs it took."""
    near = sorted({*_lowest(tried.base), *_lowest(tried.filler)})
    made, tasks = [], []
    space = space_of(plan.source, tried.pick.hand, plan.knobs)
    free = {knob.key for knob in space.knobs}
    every = [
        (name, inputs)
        for name, inputs in changes(plan.case, space.inputs)
        if free.isdisjoint(key for key, _ in inputs)
    ]
    for name, inputs in (*every, *beyond(tried.pick, space.knobs)):
        if inputs:
            try:
                trials = _trials(tried, plan, inputs, near)
            except CaseError:  # no such joint
                continue
            made.append((name, inputs))
            tasks += trials
    if not near or not made:
        return (), 0
    rows = yield Round("what else would help", run_trial, tasks)
    margin, slack = tried.pick.shift

    def on_own_mesh(some: Sequence[Row]) -> tuple[Array, Array]:
        base, filler, _ = measures(some)
        return base + margin, filler + slack

    found = []
    for number, (name, inputs) in enumerate(made):
        base, filler = on_own_mesh(rows[number * len(near) : (number + 1) * len(near)])
        moved = np.array([base - tried.base[near], filler - tried.filler[near]])
        moved = moved[:, np.isfinite(moved).all(axis=0)]
        if moved.size:
            a, b = (round(float(x), 1) for x in moved.mean(axis=1))
            good = (tried.base + a > 0.0) & (tried.filler + b >= 0.0)
            found.append(Change(name, inputs, a, b, *_chance(good), len(near)))
    found.sort(key=lambda change: (-change.chance, -change.base - change.filler))
    # less scatter moves each bench by another amount, so it is counted too
    best = [c for i, c in enumerate(found) if i == 0 or c.name == STEADIER]
    whole = range(len(tried.bench))
    more = [trial for c in best for trial in _trials(tried, plan, c.inputs, whole)]
    rows = yield Round("the best of them", run_trial, more)
    for number, change in enumerate(best):
        base, filler = on_own_mesh(rows[number * len(whole) : (number + 1) * len(whole)])
        good = (base > 0.0) & (filler >= 0.0)
        chance, low, high = _chance(good)
        found[found.index(change)] = replace(
            change, chance=chance, low=low, high=high, benches=len(whole), counted=True
        )
    found.sort(key=lambda change: -change.chance)
    return tuple(found), len(tasks) + len(more) - len(best) * len(near)


def _chance(good: NDArray[np.bool_]) -> tuple[float, float, float]:
    return float(good.mean()), *wilson(int(good.sum()), len(good))


def _trials(tried: Tried, plan: FindPlan, inputs: Inputs, which: Iterable[int]) -> list[Trial]:
    """Runs of a changed case at the setting, on some of its benches."""
    source, texts = plan.source, tuple(f"{key}={value}" for key, value in inputs)
    changed = Source(source.text, source.name, (*source.changes, *texts))
    space = space_of(changed, tried.pick.hand, plan.knobs)
    own = {key for key, _ in inputs}
    setting = tuple(entry for entry in tried.pick.inputs if entry[0] not in own)
    return [space.trial(setting, tried.bench[i], plan.detail) for i in which]


def _lowest(values: Array) -> list[int]:
    known = np.nan_to_num(np.abs(values), nan=np.inf)
    return [int(i) for i in np.argsort(known, kind="stable")[:NEAR] if np.isfinite(known[i])]
