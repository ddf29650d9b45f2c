"""The search: runs over settings and scatter alike, then where limits are near, then fresh benches.

A first round of runs spreads over all settings and all of the scatter. Each further round asks
the responses fitted so far (`model`) for the settings that seem best and runs those benches of
them on which the responses may be wrong. What is found is confirmed on benches that had no part
in the search.

The search is a generator: it yields rounds of tasks and is sent their rows (`runs.rounds`).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import ceil

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from ...case.case import Case
from ..chance.bench import STANDARD, points, seed_of, wilson
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.trial import Source, Trial, run_trial
from .knobs import HAND_KEYS, Knob, knobs_of
from .model import Setting, Think, measures, think, thought_of
from .space import Space, space_of

__all__ = ["Effort", "FindPlan", "Found", "Pick", "plan_of", "seek"]

Array = NDArray[np.float64]

OWN = 4  # of them also at the case's own detail, those nearest to a limit
TRIES = 3  # picks to confirm, at most
CHOICES = 5  # of time against chance


@dataclass(frozen=True)
class Effort:
    """How much is run.

    Attributes
    ----------
    first : runs of each hand to begin with
    rounds : of more runs
    looks : runs of a round, over all hands that are left
    fresh : benches that confirm a pick
    candidates : settings that the responses are asked about
    """

    first: int = 32
    rounds: int = 5
    looks: int = 18
    fresh: int = 48
    candidates: int = 2048


@dataclass(frozen=True)
class FindPlan:
    """What is asked.

    Attributes
    ----------
    source : the case as it was read
    case : read from it
    knobs : what is free, over all hands
    hands : to choose from
    sure : chance of success wanted
    detail : mesh of the search
    seed : of its points
    effort : how much is run
    """

    source: Source
    case: Case
    knobs: tuple[Knob, ...]
    hands: tuple[str, ...]
    sure: float
    detail: str
    seed: int
    effort: Effort = Effort()

    @property
    def fresh(self) -> int:
        """Benches that confirm a pick: the surer it must be, the more."""
        return max(self.effort.fresh, ceil(4.8 / (1.0 - self.sure)) if self.sure > 0.9 else 0)


def plan_of(
    source: Source,
    sure: float,
    free: str = "",
    fix: str = "",
    detail: str = "coarse",
    seed: int = 0,
) -> FindPlan:
    """Plan for a case; see `FindPlan` and `knobs.knobs_of`.

    Raises
    ------
    CaseError
        The case has faults, or what is free does.
    """
    case = source.case()
    return FindPlan(source, case, knobs_of(case, free, fix), case.choice.hands, sure, detail, seed)


@dataclass(frozen=True)
class Pick:
    """A setting that may serve.

    Attributes
    ----------
    hand : how the arc is led
    inputs : keys and settings, those of the hand too
    chance, low, high : that a bench succeeds, with its 95 % interval where it was confirmed
    time : of the case as it is [s]
    confirmed : numbers of the run at the case's own detail; None where it was not run
    benches : fresh ones that it was confirmed on
    fails : of them, by what failed: "base", the key of a limit, or "failed" without a result
    shift : put on margin and slack of the benches for the case's own mesh [K]
    """

    hand: str
    inputs: tuple[tuple[str, str], ...]
    chance: float
    low: float
    high: float
    time: float
    confirmed: Row | None = None
    benches: int = 0
    fails: dict[str, int] = field(default_factory=dict)
    shift: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Found:
    """What came of it: `picks`, the one that was chosen first, and why.

    `pick` is None where none is sure enough; `binding` is the limit that most benches fail of
    the first; `runs` counts runs at the search's detail and at the case's own.
    """

    plan: FindPlan
    picks: tuple[Pick, ...]
    pick: Pick | None
    why: str
    binding: str
    runs: tuple[int, int]
    q2: tuple[float, float]


@dataclass
class _Hand:
    """Runs of one hand, while they grow."""

    space: Space
    shares: Array
    bench: Array
    rows: list[Row]
    settings: list[Setting] = field(default_factory=list)
    looks: list[list[float]] = field(default_factory=list)
    q2: tuple[float, float] = (0.0, 0.0)

    def trials(self, detail: str) -> list[Trial]:
        """Runs of the points that have no row yet."""
        new = range(len(self.rows), len(self.shares))
        texts = [self.space.settable(self.shares[i])[1] for i in new]
        return [
            self.space.trial(text, self.bench[i], detail)
            for i, text in zip(new, texts, strict=True)
        ]

    def add(self, points: Array) -> None:
        """Take in points (n, knobs + inputs) to run next."""
        knobs = self.space.size[0]
        self.shares = np.vstack([self.shares, points[:, :knobs]])
        self.bench = np.vstack([self.bench, points[:, knobs:]])


def _begin(plan: FindPlan, hand: str) -> _Hand:
    space = space_of(plan.source, hand, plan.knobs)
    knobs, inputs = space.size
    sobol = qmc.Sobol(
        knobs + inputs, rng=np.random.default_rng(seed_of(plan.seed, f"first runs {hand}"))
    )
    unit = sobol.random(plan.effort.first)
    shares = np.array([space.settable(row)[0] for row in unit[:, :knobs]])
    bench = np.asarray(STANDARD.ppf(np.clip(unit[:, knobs:], 1e-9, 1.0 - 1e-9)), dtype=float)
    return _Hand(space, shares, bench, [])


def seek(plan: FindPlan) -> Planner[Found]:
    """Search; see the top of this module."""
    every = [_begin(plan, hand) for hand in plan.hands]
    yield from _run(every, plan, "settings and benches")
    hands = every
    for number in range(plan.effort.rounds):
        yield from _think(hands, plan, number)
        hands = _kept(hands, plan.sure)
        for hand in hands:
            hand.add(np.array(hand.looks))
        yield from _run(hands, plan, "benches near a limit")
    tried: list[Pick] = []
    for attempt in range(TRIES):
        yield from _think(hands, plan, plan.effort.rounds + attempt)
        seen = {pick.inputs for pick in tried}
        hand, setting = _best(hands, plan, seen)
        tried.append((yield from _confirm(hand, setting, plan, attempt)))
        if _good(tried[-1], plan):
            break
    return _found(plan, every, hands, tried)


def _run(hands: Sequence[_Hand], plan: FindPlan, doing: str) -> Planner[None]:
    tasks = [(hand, trial) for hand in hands for trial in hand.trials(plan.detail)]
    rows = yield Round(doing, run_trial, [trial for _, trial in tasks])
    for (hand, _), row in zip(tasks, rows, strict=True):
        hand.rows.append(row)


def _think(hands: Sequence[_Hand], plan: FindPlan, number: int) -> Planner[None]:
    tasks = [
        Think(
            hand.space,
            hand.shares,
            hand.bench,
            *measures(hand.rows),
            np.array([s.shares for s in hand.settings]).reshape(-1, hand.space.size[0]),
            plan.sure,
            plan.case.limits.base_margin,
            plan.effort.looks // len(hands),
            plan.effort.candidates,
            plan.seed,
            number,
        )
        for hand in hands
    ]
    rows = yield Round("what to try next", think, tasks)
    for hand, row in zip(hands, rows, strict=True):
        hand.settings, hand.looks, hand.q2 = thought_of(row)


def _good(pick: Pick, plan: FindPlan) -> bool:
    """Whether a pick reaches the chance that is wanted, and the case as it is keeps its limits."""
    own = pick.confirmed or {}
    keeps = own.get("base_stays_solid") is True and own.get("filler_flows") is True
    return keeps and pick.chance >= plan.sure


def _kept(hands: Sequence[_Hand], sure: float) -> list[_Hand]:
    """Hands that may still be sure enough, or else the surest."""
    least = min(sure, max(max(s.low for s in hand.settings) for hand in hands))
    return [hand for hand in hands if max(s.likely for s in hand.settings) >= least]


def _best(
    hands: Sequence[_Hand], plan: FindPlan, seen: set[tuple[tuple[str, str], ...]]
) -> tuple[_Hand, Setting]:
    """The quickest that is sure enough, or the surest; not one that was tried."""
    every = [(hand, setting) for hand in hands for setting in hand.settings]
    fresh = [pair for pair in every if _inputs(*pair) not in seen]
    return max(fresh or every, key=lambda pair: pair[1].worth(plan.sure))


def _inputs(hand: _Hand, setting: Setting) -> tuple[tuple[str, str], ...]:
    """Keys and settings, those of the hand first."""
    fixed, _ = HAND_KEYS[hand.space.hand]
    _, inputs = hand.space.settable(np.array(setting.shares))
    return (*fixed, *inputs)


def _confirm(hand: _Hand, setting: Setting, plan: FindPlan, attempt: int) -> Planner[Pick]:
    """Run a setting on fresh benches, and at the case's own detail where limits are nearest.

    What the benches say goes to the hand's other runs: a pick that failed teaches the next.
    """
    space = hand.space
    _, inputs = space.settable(np.array(setting.shares))
    bench = points(plan.fresh, space.size[1], seed_of(plan.seed, "fresh", attempt))
    nominal = np.zeros(space.size[1])
    every = [space.trial(inputs, z, plan.detail) for z in (nominal, *bench)]
    rows = yield Round("fresh benches", run_trial, every)
    base, filler, time = measures(rows)
    shift, own = np.zeros(2), rows[0]
    if plan.detail != plan.case.detail:
        near = np.nan_to_num(np.minimum(np.abs(base[1:]), np.abs(filler[1:])), nan=np.inf)
        also = [0, *(np.sort(np.argsort(near, kind="stable")[:OWN]) + 1)]
        finer = [space.trial(inputs, (nominal, *bench)[i], plan.case.detail) for i in also]
        told = yield Round(f"{plan.case.detail} mesh", run_trial, finer)
        own = told[0]
        fine_base, fine_filler, _ = measures(told)
        apart = np.array([fine_base - base[also], fine_filler - filler[also]])
        both = np.isfinite(apart).all(axis=0)
        shift = apart[:, both].mean(axis=1) if both.any() else shift
    hand.add(np.hstack([np.tile(setting.shares, (len(every), 1)), np.vstack([nominal, bench])]))
    hand.rows.extend(rows)
    known = np.isfinite(base[1:])
    solid = base[1:] + shift[0] > 0.0
    flows = filler[1:] + shift[1] >= 0.0
    good = int((known & solid & flows).sum())
    why = Counter("base" for i in range(len(solid)) if known[i] and not solid[i])
    why.update(
        str(rows[i + 1].get("filler_binding") or "arc.current")
        for i in range(len(solid))
        if known[i] and not flows[i]
    )
    if not known.all():
        why["failed"] = int((~known).sum())
    low, high = wilson(good, len(solid))
    return Pick(
        space.hand,
        _inputs(hand, setting),
        good / len(solid),
        low,
        high,
        float(time[0]) if np.isfinite(time[0]) else setting.time,
        own,
        len(solid),
        dict(sorted(why.items(), key=lambda item: (-item[1], item[0]))),
        (round(float(shift[0]), 1), round(float(shift[1]), 1)),
    )


def _choices(hands: Sequence[_Hand]) -> list[Pick]:
    """Settings that no other beats in both chance and time, spread over the times."""
    every = [(hand, s) for hand in hands for s in hand.settings if s.filler >= 0.0]
    front: list[tuple[_Hand, Setting]] = []
    quickest = np.inf
    for hand, setting in sorted(every, key=lambda pair: (-pair[1].chance, pair[1].time)):
        if setting.time < 0.93 * quickest and setting.chance > 0.3:
            quickest = setting.time
            front.append((hand, setting))
    if len(front) > CHOICES - 1:
        at = np.linspace(0, len(front) - 1, CHOICES - 1).round().astype(int)
        front = [front[i] for i in at]
    picks = []
    for hand, setting in front:
        picks.append(
            Pick(
                hand.space.hand,
                _inputs(hand, setting),
                setting.chance,
                setting.low,
                setting.high,
                setting.time,
            )
        )
    return picks


def _found(
    plan: FindPlan, every: Sequence[_Hand], hands: Sequence[_Hand], tried: Sequence[Pick]
) -> Found:
    good = [pick for pick in tried if _good(pick, plan)]
    best = good[-1] if good else max(tried, key=lambda pick: (pick.chance, -pick.time))
    others = [pick for pick in tried if pick is not best]
    seen = {pick.inputs for pick in tried}
    choices = [pick for pick in _choices(hands) if pick.inputs not in seen]
    runs = sum(len(hand.rows) for hand in every)
    own = 0 if plan.detail == plan.case.detail else (OWN + 1) * len(tried)
    binding = next(iter(best.fails), "")
    hits = round(best.chance * best.benches)
    told = (
        f"{hits} of {best.benches} fresh benches succeed, so {100 * best.low:.0f} to "
        f"{100 * best.high:.0f} % of all (95 % confidence)"
    )
    if len(tried) > 1:
        told += f"; it is the best of {len(tried)} that were put to the test"
    wanted = f"{100 * plan.sure:.0f} %"
    if good:
        why = f"the quickest found that came to {wanted} of fresh benches: {told}"
    elif best.chance >= plan.sure:
        why = f"{told}, but the case as it is does not keep its own [limits]"
    else:
        why = f"nothing found came to {wanted} of fresh benches; the surest: {told}"
    q2 = tuple(min(hand.q2[i] for hand in hands) for i in range(2))
    return Found(
        plan, (best, *others, *choices), best if good else None, why, binding, (runs, own),
        (q2[0], q2[1]),
    )  # fmt: skip
