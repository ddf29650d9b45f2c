"""Settings put to the test: on fresh benches, in other orders of segments, on the case's own mesh.

Benches come in lots: a pick that fails early costs few runs. Where no pick passes, the surest is
run on those it was spared. The case's own mesh is asked only of a pick that passed; what it differs
by is put on all runs of that hand from then on. That run also tells what else is to be looked at.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from math import floor

import numpy as np
from numpy.typing import NDArray

from ..chance.bench import points, seed_of, wilson
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.trial import Trial, run_trial
from .knobs import HAND_KEYS
from .model import Setting, measures
from .plan import ORDER, FindPlan
from .space import Space
from .telling import Telling, run_telling

__all__ = [
    "Hand",
    "Inputs",
    "Pick",
    "Tried",
    "is_good",
    "most_tests",
    "put_to_the_test",
    "run_the_rest",
]

Array = NDArray[np.float64]
Inputs = tuple[tuple[str, str], ...]

OWN = 3  # benches also at the case's own detail, those nearest to a limit
QUICKER = 0.97  # of the time: an order that saves less is not worth another one


@dataclass
class Hand:
    """Runs of one hand, while they grow.

    Attributes
    ----------
    space : its settings and scatter
    shares, bench : (n, knobs), (n, inputs) of the runs
    rows : of those that were run
    settings, looks, q2 : as the last thought has them
    order, pace : of segments in its last pick, and the time over that in the case's own
    shift : of margin and slack on the case's own mesh [K]
    besides : runs that are not in `rows`, at the search's detail and at the case's own
    """

    space: Space
    shares: Array
    bench: Array
    rows: list[Row]
    settings: list[Setting] = field(default_factory=list)
    looks: list[list[float]] = field(default_factory=list)
    q2: tuple[float, float] = (0.0, 0.0)
    order: Inputs = ()
    pace: float = 1.0
    shift: tuple[float, float] = (0.0, 0.0)
    besides: tuple[int, int] = (0, 0)

    @property
    def count(self) -> int:
        """Runs, each once."""
        return len(np.unique(np.hstack([self.shares, self.bench]).round(9), axis=0))

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

    def inputs(self, setting: Setting) -> Inputs:
        """Keys and settings, those of the hand first."""
        fixed, _ = HAND_KEYS[self.space.hand]
        _, inputs = self.space.settable(np.array(setting.shares))
        return (*fixed, *inputs, *self.order)


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
    close : benches that succeed with less than the margin wanted
    """

    hand: str
    inputs: Inputs
    chance: float
    low: float
    high: float
    time: float
    confirmed: Row | None = None
    benches: int = 0
    fails: dict[str, int] = field(default_factory=dict)
    shift: tuple[float, float] = (0.0, 0.0)
    close: int = 0


@dataclass(frozen=True)
class Tried:
    """A pick, and the benches it was tried on.

    Attributes
    ----------
    pick : what came of it
    bench : (n, inputs) standard deviations
    base, filler : (n,) margin and slack of each, on the case's own mesh as far as it is known [K]
    hand, setting : what was picked
    rows : of the case as it is and of each bench
    rest : (m, inputs) fresh benches that it was given up without
    """

    pick: Pick
    bench: Array
    base: Array
    filler: Array
    hand: Hand
    setting: Setting
    rows: tuple[Row, ...]
    rest: Array


def is_good(pick: Pick, sure: float) -> bool:
    """Whether a pick reaches the chance that is wanted, and the case as it is keeps its limits."""
    own = pick.confirmed or {}
    keeps = own.get("base_stays_solid") is True and own.get("filler_flows") is True
    return keeps and pick.chance >= sure


def most_tests(plan: FindPlan) -> tuple[int, int]:
    """Runs that all tests take at most: at the search's detail, and at the case's own, if finer."""
    orders = plan.effort.tries * (1 + len(plan.orders)) if plan.orders else 0
    same = plan.detail == plan.case.detail  # the case runs once more then, for its words
    own = 0 if same else plan.effort.tries * (1 + OWN)
    return orders + plan.effort.tries * (1 + plan.fresh + same), own


def put_to_the_test(hand: Hand, setting: Setting, plan: FindPlan, attempt: int) -> Planner[Tried]:
    """Run a setting on fresh benches, and at the case's own detail where limits are nearest.

    What the benches say goes to the hand's other runs: a pick that failed teaches the next.

    Parameters
    ----------
    hand : whose setting it is
    setting : to try
    plan : of the search
    attempt : number of the pick
    """
    space = hand.space
    if plan.orders:
        yield from _take_order(hand, setting, plan)
    inputs = hand.inputs(setting)
    bench = points(plan.fresh, space.size[1], seed_of(plan.seed, "fresh", attempt))
    every = [np.zeros(space.size[1]), *bench]
    rows: list[Row] = []
    while len(rows) < len(every):
        end = len(rows) + plan.effort.lot + (not rows)
        more = [space.trial(inputs, z, plan.detail) for z in every[len(rows) : end]]
        rows += yield Round("fresh benches", run_trial, more)
        bad = int((~_good_benches(rows[1:], hand.shift)).sum())
        passed = bad <= floor((1.0 - plan.sure) * plan.fresh + 1e-9)
        if not passed:
            break
    same = plan.detail == plan.case.detail
    own = rows[0] if same else None
    if passed and same:
        again = [_telling(hand, inputs, every[0], plan)]
        (own,) = yield Round("what else to look at", run_telling, again)
        hand.besides = hand.besides[0] + 1, hand.besides[1]
    elif passed:
        own = yield from _own_mesh(hand, inputs, every, rows, plan)
    hand.add(np.array([[*setting.shares, *z] for z in every[: len(rows)]]))
    # what a search in the case's own order can learn from
    hand.rows += [{**row, "total_s": float(row.get("total_s") or 0.0) / hand.pace} for row in rows]
    return _tried(hand, inputs, rows, bench, own, setting, plan)


def run_the_rest(tried: Tried, plan: FindPlan) -> Planner[Tried]:
    """Run a pick that was given up on the fresh benches that are left.

    Parameters
    ----------
    tried : what came of it so far
    plan : of the search
    """
    hand, inputs = tried.hand, tried.pick.inputs
    more = [hand.space.trial(inputs, z, plan.detail) for z in tried.rest]
    rows = yield Round("benches that are left", run_trial, more)
    hand.besides = hand.besides[0] + len(rows), hand.besides[1]
    bench = np.vstack([tried.bench, tried.rest])
    every = [*tried.rows, *rows]
    return _tried(hand, inputs, every, bench, tried.pick.confirmed, tried.setting, plan)


def _good_benches(rows: Sequence[Row], shift: tuple[float, float]) -> NDArray[np.bool_]:
    base, filler, _ = measures(rows)
    return np.asarray((base + shift[0] > 0.0) & (filler + shift[1] >= 0.0))


def _tried(
    hand: Hand,
    inputs: Inputs,
    rows: Sequence[Row],
    bench: Array,
    own: Row | None,
    setting: Setting,
    plan: FindPlan,
) -> Tried:
    """Sum up `rows`, of the case as it is and of the first of all fresh benches `bench`."""
    base, filler, time = measures(rows)
    base, filler = base + hand.shift[0], filler + hand.shift[1]
    why: Counter[str] = Counter()
    for row, solid, flows in zip(rows[1:], base[1:] > 0.0, filler[1:] >= 0.0, strict=True):
        if not np.isfinite(measures([row])[0][0]):
            why["failed"] += 1
            continue
        if not solid:
            why["base"] += 1
        if not flows:
            why[str(row.get("filler_binding") or "arc.current")] += 1
    count = len(rows) - 1
    succeeds = _good_benches(rows[1:], hand.shift)
    good = int(succeeds.sum())
    low, high = wilson(good, count)
    pick = Pick(
        hand.space.hand,
        inputs,
        good / count,
        low,
        high,
        float(time[0]) if np.isfinite(time[0]) else setting.time * hand.pace,
        own,
        count,
        dict(sorted(why.items(), key=lambda item: (-item[1], item[0]))),
        hand.shift,
        int((succeeds & (base[1:] < plan.case.limits.base_margin)).sum()),
    )
    return Tried(
        pick, bench[:count], base[1:], filler[1:], hand, setting, tuple(rows), bench[count:]
    )


def _telling(hand: Hand, inputs: Inputs, bench: Array, plan: FindPlan) -> Telling:
    """Run on the case's own mesh that also says what else to look at."""
    trial = hand.space.trial(inputs, bench, plan.case.detail)
    return Telling(trial.source, trial.inputs, trial.detail)


def _own_mesh(
    hand: Hand, inputs: Inputs, every: Sequence[Array], rows: Sequence[Row], plan: FindPlan
) -> Planner[Row]:
    """Run the case as it is, and the benches nearest to a limit, on the case's own mesh."""
    base, filler, _ = measures(rows)
    near = np.nan_to_num(np.minimum(np.abs(base[1:]), np.abs(filler[1:])), nan=np.inf)
    also = [0, *(np.sort(np.argsort(near, kind="stable")[:OWN]) + 1)]
    finer = [_telling(hand, inputs, every[i], plan) for i in also]
    told = yield Round(f"{plan.case.detail} mesh", run_telling, finer)
    hand.besides = hand.besides[0], hand.besides[1] + len(told)
    fine_base, fine_filler, _ = measures(told)
    apart = np.array([fine_base - base[also], fine_filler - filler[also]])
    known = np.isfinite(apart).all(axis=0)
    if known.any():
        a, b = apart[:, known].mean(axis=1)
        hand.shift = round(float(a), 1), round(float(b), 1)
    return told[0]


def _take_order(hand: Hand, setting: Setting, plan: FindPlan) -> Planner[None]:
    """Choose the order of segments: runs at a setting of the case as it is.

    The order changes how long starts take to cool, and so the time; margin and slack hardly. The
    quickest is taken that keeps what the case's own order keeps, if it saves enough.
    """
    _, inputs = hand.space.settable(np.array(setting.shares))
    nominal = np.zeros(hand.space.size[1])
    orders = ((), *(((ORDER, order),) for order in plan.orders))
    trials = [hand.space.trial((*inputs, *order), nominal, plan.detail) for order in orders]
    rows = yield Round("orders of segments", run_trial, trials)
    base, filler, time = measures(rows)
    least = np.nan_to_num(np.minimum(base - plan.case.limits.base_margin, filler), nan=-np.inf)
    keeps = [i for i in range(len(orders)) if least[i] >= min(least[0], 0.0)]
    best = min(keeps, key=lambda i: np.nan_to_num(time[i], nan=np.inf))
    hand.besides = hand.besides[0] + len(plan.orders), hand.besides[1]
    hand.order, hand.pace = (), 1.0
    if time[best] < QUICKER * time[0]:
        hand.order, hand.pace = orders[best], float(time[best] / time[0])
