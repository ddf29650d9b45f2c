"""The search: runs over settings and scatter alike, then where limits are near, then fresh benches.

A first round of runs spreads over all settings and all of the scatter. Each further round asks
the responses fitted so far (`model`) for the settings that seem best and runs those benches of
them on which the responses may be wrong. What is found is confirmed on benches that had no part
in the search. After a pick that failed the rounds go on, at most as many as `Effort.more` in all,
until a setting may be sure enough or may beat what was tried.

The search is a generator: it yields rounds of tasks and is sent their rows (`runs.rounds`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, log2

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from ...case.case import Case
from ...case.file.tested import outside_of
from ...march.errors import MarchError
from ..chance.bench import STANDARD, seed_of, wilson
from ..runs.rounds import Planner, Round
from ..runs.trial import run_trial
from .instead import Change, most_changes, what_would_serve
from .model import BENCHES, Setting, Think, measures, most_looks, think, thought_of
from .plan import FindPlan
from .space import space_of
from .telling import said_of
from .trying import Hand, Pick, Tried, is_good, most_tests, put_to_the_test, run_the_rest

__all__ = ["Found", "most_runs", "seek"]

Array = NDArray[np.float64]

Seen = set[tuple[str, tuple[float, ...]]]  # hand and shares of settings that were tried

CHOICES = 5  # of time against chance
LEAST_ROUNDS = 2
GAIN = 0.05  # of the time: where a round saves less, the search ends if it is sure


@dataclass(frozen=True)
class Found:
    """What came of it: `picks`, the one that was chosen first, and why.

    `pick` is None where none is sure enough; `binding` is the limit that most benches fail of
    the first; `runs` counts runs at the search's detail and at the case's own; `hands` has the
    surest setting of each hand, estimated as it was when the hand was last thought of.
    """

    plan: FindPlan
    picks: tuple[Pick, ...]
    pick: Pick | None
    why: str
    binding: str
    runs: tuple[int, int]
    q2: tuple[float, float]
    instead: tuple[Change, ...]
    hands: tuple[Pick, ...]

    @property
    def case(self) -> Case:
        """Case with the settings of the first of the picks."""
        return self.plan.source.case(tuple(f"{k}={text}" for k, text in self.picks[0].inputs))

    @property
    def edges(self) -> dict[str, str]:
        """Keys that the first of the picks has at an end of their range, and at which."""
        inputs, found = dict(self.picks[0].inputs), {}
        for knob in self.plan.knobs:
            for end, value in (("lowest", knob.low), ("highest", knob.high)):
                # the longest segment is half the ring, if the bench allows more
                if inputs.get(knob.key) == knob.settable(value)[1] and not (
                    knob.ring and value > 0.499 * knob.ring
                ):
                    found[knob.key] = end
        return found

    @property
    def quicker(self) -> tuple[int, ...]:
        """Numbers of picks that are quicker than the one that passed, by estimate alone."""
        if self.pick is None:
            return ()
        return tuple(
            number
            for number, pick in enumerate(self.picks, start=1)
            if not pick.benches and pick.time < self.pick.time
        )

    @property
    def notes(self) -> tuple[str, ...]:
        """What else is to be known of the first of the picks."""
        inputs = dict(self.picks[0].inputs)
        told = "; ".join(
            f"{key} = {inputs[key]}, the {end} tried" for key, end in self.edges.items()
        )
        run = {key for change in self.instead for key, _ in change.inputs}
        beyond = (
            "A value beyond was run too, among what might help."
            if run.issuperset(self.edges)
            else "Settings beyond may be better: [bench] or --free KEY=FROM:TO allows them."
        )
        edges = (f"At the end of its range: {told}. {beyond}",) if told else ()
        return (*edges, *said_of(self.picks[0].confirmed), *outside_of(self.case))


def _begin(plan: FindPlan, hand: str) -> Hand:
    space = space_of(plan.source, hand, plan.knobs)
    knobs, inputs = space.size
    sobol = qmc.Sobol(
        knobs + inputs, rng=np.random.default_rng(seed_of(plan.seed, f"first runs {hand}"))
    )
    unit = sobol.random_base2(ceil(log2(plan.effort.first)))[: plan.effort.first]
    shares = np.array([space.settable(row)[0] for row in unit[:, :knobs]])
    bench = np.asarray(STANDARD.ppf(np.clip(unit[:, knobs:], 1e-9, 1.0 - 1e-9)), dtype=float)
    return Hand(space, shares, bench, [])


def most_runs(plan: FindPlan) -> tuple[int, int]:
    """Runs that a search takes at most: at its own detail, and at the case's own, if finer."""
    effort, hands = plan.effort, len(plan.hands)
    looks = max(left * most_looks(effort.looks, left) for left in range(1, hands + 1))
    tests, finer = most_tests(plan)
    rounds = effort.rounds + effort.more
    return effort.first * hands + rounds * looks + tests + most_changes(plan), finer


def seek(plan: FindPlan) -> Planner[Found]:
    """Search; see the top of this module."""
    every = [_begin(plan, hand) for hand in plan.hands]
    yield from _run(every, plan, "settings and benches")
    hands, last, number, looked, learned = _able(every), np.inf, 0, 0, False
    tried: list[Tried] = []
    while True:
        yield from _think(hands, plan, number)
        number += 1
        seen = {(one.hand.space.hand, one.setting.shares) for one in tried}
        hand, setting = _best(hands, plan, seen)
        saved, last = 1.0 - setting.time / last, setting.time
        sure = setting.worth(plan.sure)[0] == 1.0
        settled = sure and (bool(tried) or (saved < GAIN and looked >= LEAST_ROUNDS))
        settled |= bool(tried) and learned and setting.likely >= plan.sure
        if not settled and looked < plan.effort.rounds + bool(tried) * plan.effort.more:
            looked, learned = looked + 1, True
            hands = _kept(hands, plan.sure) if looked > LEAST_ROUNDS else hands
            for hand in hands:
                hand.add(np.array(hand.looks))
            yield from _run(hands, plan, "benches near a limit")
            continue
        again = (hand.space.hand, setting.shares) in seen
        if tried and (again or not _promises(setting, tried, plan.sure)):
            break
        tried.append((yield from put_to_the_test(hand, setting, plan, len(tried))))
        learned = False
        if is_good(tried[-1].pick, plan.sure) or len(tried) == plan.effort.tries:
            break
    return (yield from _found(plan, every, hands, tried))


def _able(every: Sequence[Hand]) -> list[Hand]:
    """Hands of which a run could be computed."""
    able = [hand for hand in every if np.isfinite(measures(hand.rows)[2]).any()]
    if not able:
        why = next(str(row["failed"]) for hand in every for row in hand.rows)
        raise MarchError(f"no run of the search could be computed; the first: {why}")
    return able


def _promises(setting: Setting, tried: Sequence[Tried], sure: float) -> bool:
    """Whether a setting may be sure enough, or may beat every one that was tried."""
    return setting.likely > min(sure, max(one.pick.chance for one in tried))


def _run(hands: Sequence[Hand], plan: FindPlan, doing: str) -> Planner[None]:
    tasks = [(hand, trial) for hand in hands for trial in hand.trials(plan.detail)]
    rows = yield Round(doing, run_trial, [trial for _, trial in tasks])
    for (hand, _), row in zip(tasks, rows, strict=True):
        hand.rows.append(row)


def _think(hands: Sequence[Hand], plan: FindPlan, number: int) -> Planner[None]:
    tasks = [
        Think(
            hand.space,
            hand.shares,
            hand.bench,
            *_on_own_mesh(hand),
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


def _on_own_mesh(hand: Hand) -> tuple[Array, Array, Array]:
    """Margin, slack and time of a hand's runs, as far as the case's own mesh is known."""
    base, filler, time = measures(hand.rows)
    return base + hand.shift[0], filler + hand.shift[1], time


def _kept(hands: Sequence[Hand], sure: float) -> list[Hand]:
    """Hands that may still be sure enough, and that of the run that did best.

    A response says little where few runs came near both limits, so it alone drops no hand.
    """
    least = min(sure, max(max(s.low for s in hand.settings) for hand in hands))
    runs = [np.nanmax(np.minimum(*_on_own_mesh(hand)[:2])) for hand in hands]
    return [
        hand
        for hand, run in zip(hands, runs, strict=True)
        if max(s.likely for s in hand.settings) >= least or run == max(runs)
    ]


def _best(hands: Sequence[Hand], plan: FindPlan, seen: Seen) -> tuple[Hand, Setting]:
    """The quickest that is sure enough, or the surest; not one that was tried."""
    every = [(hand, setting) for hand in hands for setting in hand.settings]
    fresh = [(hand, s) for hand, s in every if (hand.space.hand, s.shares) not in seen]
    return max(fresh or every, key=lambda pair: pair[1].worth(plan.sure))


def _choices(hands: Sequence[Hand], seen: Seen) -> list[Pick]:
    """Settings that no other beats in both chance and time, spread over the times."""
    every = [(hand, s) for hand in hands for s in hand.settings if s.keeps]
    front: list[tuple[Hand, Setting]] = []
    quickest = np.inf
    for hand, setting in sorted(every, key=lambda pair: (-pair[1].chance, pair[1].time)):
        if setting.time < 0.93 * quickest and setting.chance > 0.3:
            quickest = setting.time
            front.append((hand, setting))
    if len(front) > CHOICES - 1:
        at = np.linspace(0, len(front) - 1, CHOICES - 1).round().astype(int)
        front = [front[i] for i in at]
    return [_estimated(hand, s) for hand, s in front if (hand.space.hand, s.shares) not in seen]


def _estimated(hand: Hand, setting: Setting) -> Pick:
    """Setting that was not put to the test; its interval holds what its benches leave open too.

    The setting's own ends count the benches on which the responses may err. Where they err on
    none these are the same number; so each is widened as if that many of them had been run.
    """
    ends = setting.chance, setting.low, setting.high
    low, high = wilson(BENCHES * min(ends), BENCHES)[0], wilson(BENCHES * max(ends), BENCHES)[1]
    time = setting.time * hand.pace
    return Pick(hand.space.hand, hand.inputs(setting), setting.chance, low, high, time)


def _surest_of(tried: Sequence[Tried]) -> int:
    return max(range(len(tried)), key=lambda i: (tried[i].pick.chance, -tried[i].pick.time))


def _surest(hand: Hand) -> Pick:
    return _estimated(hand, max(hand.settings, key=lambda s: (s.guarded, -s.time)))


def _found(
    plan: FindPlan, every: Sequence[Hand], hands: Sequence[Hand], tried: Sequence[Tried]
) -> Planner[Found]:
    """Sort out what was tried; where nothing is sure enough, run what would help."""
    good = [one.pick for one in tried if is_good(one.pick, plan.sure)]
    tried, first = list(tried), _surest_of(tried)
    while not good and len(tried[first].rest):
        tried[first] = yield from run_the_rest(tried[first], plan)
        first = _surest_of(tried)
    surest = tried[first]
    best = good[-1] if good else surest.pick
    others = [one.pick for one in tried if one.pick is not best]
    seen = {(one.hand.space.hand, one.setting.shares) for one in tried}
    choices = _choices(hands, seen)
    instead, more = ((), 0) if good else (yield from what_would_serve(surest, plan))
    runs = more + sum(hand.count + hand.besides[0] for hand in every)
    own = sum(hand.besides[1] for hand in every)
    binding = next(iter(best.fails), "")
    hits = round(best.chance * best.benches)
    told = (
        f"{hits} of {best.benches} fresh benches succeed, so {100 * best.low:.0f} to "
        f"{100 * best.high:.0f} % of all (95 % confidence)"
    )
    many = len(tried) > 1
    if good:
        of = f"the first of {len(tried)} tried that passed" if many else "kept because it passed"
        told += f"; it was {of}, so the chance is optimistic"
    elif many:
        told += f"; it is the surest of {len(tried)} tried, so the chance is optimistic"
    wanted = f"{100 * plan.sure:.0f} %"
    if good:
        why = f"these settings pass the {wanted} asked for: {told}"
    elif best.chance >= plan.sure:
        why = f"{told}, but the case as it is does not keep its own [limits]"
    else:
        why = f"nothing found came to {wanted} of fresh benches; the surest: {told}"
    q2 = tuple(min(hand.q2[i] for hand in hands) for i in range(2))
    return Found(
        plan, (best, *others, *choices), best if good else None, why, binding, (runs, own),
        (q2[0], q2[1]), instead, tuple(_surest(hand) for hand in every if hand.settings),
    )  # fmt: skip
