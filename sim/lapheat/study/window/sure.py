"""Chances over a window: a response over its axes and the scatter together, and picks inside it.

Margin, slack and time are smooth in the axes and in the scatter alike, so one response each is
fitted over both (`chance/responses.py`). The map's own runs are benches without scatter. To them
come runs spread over all of both, then rounds of runs where a bench may go either way near the
contour of the chance that is wanted. The chance of a point is the mean over its benches. The pick
is the quickest settable point whose chance reaches what is wanted, what the responses do not know
counted as half a risk. It is confirmed on fresh benches, which then teach the next.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import product
from math import isqrt, prod

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from ...case.file import CaseError
from ...march.errors import MarchError
from ..chance.bench import STANDARD, Input, benches_for, inputs_of, points, seed_of
from ..chance.knob import Knob, features, settable
from ..chance.responses import DIGITS, Responses, Setting, measures
from ..chance.samples import run_sample, sample_at
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.standing import standing
from .map import MEASURES, Budget, Sweep, place_of
from .nearest import missed
from .tried import (
    Difference,
    Option,
    Pick,
    Picks,
    full,
    options_of,
    time_of,
    with_benches,
)

__all__ = ["Chances", "after_map", "sure_picks"]

Array = NDArray[np.float64]

OVER = 64  # benches that a chance is the mean over
SCREENED = 24  # of them, for the first look
KEPT = 48  # settings looked at again
NEAR = 0.2  # a chance so far from the wanted one counts little
APART = 0.08  # share of an axis by which runs of a round lie apart


@dataclass(frozen=True)
class Chances:
    """A map of chances.

    Attributes
    ----------
    sure : the chance wanted
    lines : shares along each axis at which there are nodes
    chance : at the product of the lines, the last axis quickest
    q2 : how much of runs left out the responses of base and filler explain
    runs : spent on it beside the map's own
    """

    sure: float
    lines: tuple[tuple[float, ...], ...]
    chance: tuple[float, ...]
    q2: tuple[float, float]
    runs: int


def after_map(detail: str, own: str, sure: float, budget: Budget) -> tuple[int, int]:
    """Runs that may follow a map, at its own mesh, and at the case's where that is another."""
    tried = budget.tries + 1
    runs = (
        budget.first + budget.rounds * budget.looks + tried * (1 + benches_for(sure, budget.fresh))
    )
    return runs, 0 if detail == own else 2 + tried


@dataclass(frozen=True)
class _Space:
    """Axes and scatter as points of one space."""

    knobs: tuple[Knob, ...]
    inputs: tuple[Input, ...]

    def features(self, shares: Array, bench: Array) -> Array:
        return features(self.knobs, self.inputs, shares, bench)


@dataclass(frozen=True)
class Survey:
    """A task: fit to all runs so far, and say what to run next; done by a worker, on one thread.

    Attributes
    ----------
    space : axes and scatter
    shares, bench : (n, axes), (n, inputs) of the runs
    found : (n,) each: margin and slack [K], time [s]
    wanted : margin that the case as it is must keep [K]
    sure : the chance wanted
    nodes : (m, axes) of the map of chances; m may be 0
    looks, pool : as in `Budget`
    number : of this survey
    """

    space: _Space
    shares: Array
    bench: Array
    found: tuple[Array, Array, Array]
    wanted: float
    sure: float
    nodes: Array
    looks: int
    pool: int
    number: int


def survey(task: Survey) -> Row:
    """Fit, and tell the chance at the nodes, the best settings and where to run next."""
    axes, inputs = len(task.space.knobs), len(task.space.inputs)
    fit = Responses(task.space, task.shares, task.bench, task.found, task.wanted)
    over = points(OVER, inputs, seed_of(0, "benches of a chance"))
    unit = qmc.Sobol(axes, rng=np.random.default_rng(seed_of(0, "settings"))).random(task.pool)
    pool = np.vstack([unit, task.shares[:, :axes]])
    pool = np.array([settable(task.space.knobs, row)[0] for row in pool])
    pool = np.unique(np.round(pool, DIGITS), axis=0)
    pool = pool[(pool >= -1e-6).all(axis=1) & (pool <= 1.0 + 1e-6).all(axis=1)]
    first = fit.settings(pool, over[:SCREENED])
    ranked = sorted(first, key=partial(_worth, task.sure), reverse=True)[:KEPT]
    ranked += sorted(first, key=lambda s: s.guarded, reverse=True)[:KEPT]
    again = np.unique(np.array([s.shares for s in ranked]), axis=0)
    settings = fit.settings(again, over)
    chance = fit.chances(task.nodes, over)[0] if len(task.nodes) else np.empty(0)
    told = {
        "settings": [list(vars(s).values()) for s in settings],
        "looks": _looks(task, fit, settings),
        "chance": np.round(chance, 4).tolist(),
        "q2": [round(fit.base.q2, DIGITS), round(fit.filler.q2, DIGITS)],
    }
    return {"thought": json.dumps(told), "failed": None}


def _looks(task: Survey, fit: Responses, settings: list[Setting]) -> list[list[float]]:
    """Where a bench may go either way: on the best settings, and along the contour."""
    axes, inputs = len(task.space.knobs), len(task.space.inputs)
    best = [
        max(settings, key=partial(_worth, task.sure)),
        max(settings, key=lambda s: (s.guarded, -s.time)),
    ]
    looks: list[list[float]] = []
    more = points(OVER, inputs, seed_of(0, "benches to look at", task.number))
    for setting in best[: 1 + (best[0] != best[1])]:
        shares = np.array(setting.shares)
        worth = fit.telling(shares, more)
        looks += [
            [*setting.shares, *np.round(more[i], DIGITS).tolist()]
            for i in np.argsort(-worth, kind="stable")[: task.looks // 4]
        ]
    seed = seed_of(0, "points to look at", task.number)
    pairs = qmc.Sobol(axes + inputs, rng=np.random.default_rng(seed)).random(task.pool)
    shares = np.round(pairs[:, :axes], 3)
    bench = _standard(pairs[:, axes:])
    chance = fit.chances(shares, points(SCREENED, inputs, seed_of(0, "a first look")))[0]
    doubt = np.concatenate([fit.telling(s, z[None, :]) for s, z in zip(shares, bench, strict=True)])
    worth = doubt * np.exp(-(((chance - task.sure) / NEAR) ** 2))
    taken: list[int] = []
    for i in np.argsort(-worth, kind="stable"):
        near = np.abs(shares[taken] - shares[i]).max(axis=1) if taken else np.ones(1)
        if near.min() >= APART:
            taken.append(int(i))
        if len(looks) + len(taken) == task.looks:
            break
    return looks + [[*shares[i].tolist(), *np.round(bench[i], DIGITS).tolist()] for i in taken]


def _standard(unit: Array) -> Array:
    return np.asarray(STANDARD.ppf(np.clip(unit, 1e-9, 1.0 - 1e-9)), dtype=float)


@dataclass(frozen=True)
class _Thought:
    settings: list[Setting]
    looks: list[list[float]]
    chance: list[float]
    q2: tuple[float, float]


class _Seeker:
    """Runs over axes and scatter, while they grow."""

    def __init__(self, sweep: Sweep, known: Sequence[Difference], sure: float) -> None:
        self.sweep, self.sure, self.budget = sweep, sure, sweep.plan.budget
        self.space = _Space(sweep.knobs, _inputs(sweep))
        self.shift = [float(np.mean([getattr(d, n) for d in known])) if known else 0.0
                      for n in ("base", "filler")]  # fmt: skip
        self.places: list[list[float]] = []
        self.benches: list[list[float]] = []
        self.rows: list[Row] = []
        self.lines = _lines(sweep)
        self.spent = 0

    def run(self, points: Sequence[Sequence[float]], doing: str, later: int) -> Planner[None]:
        """Run points (axes, then scatter)."""
        plan, axes = self.sweep.plan, len(self.space.knobs)
        samples = [
            sample_at(plan.source, self.sweep.inputs_at(tuple(p[:axes])), np.array(p[axes:]),
                      plan.detail)
            for p in points
        ]  # fmt: skip
        rows = yield Round(doing, run_sample, samples, later)
        self.spent += len(rows)
        self.take([list(p[:axes]) for p in points], [list(p[axes:]) for p in points], rows)

    def take(
        self, places: list[list[float]], benches: list[list[float]], rows: Sequence[Row]
    ) -> None:
        """Take in runs."""
        self.places += places
        self.benches += benches
        self.rows += rows

    def think(self, number: int, later: int, whole: bool = False) -> Planner[_Thought]:
        """Fit to all runs, those of the map last: a fit takes no more than the first 512."""
        nominal = self.sweep.sorted()
        none = [[0.0] * len(self.space.inputs)] * len(nominal)
        base, filler, time = measures([*self.rows, *(run.row for run in nominal)])
        task = Survey(
            self.space,
            np.array([*self.places, *(list(run.place) for run in nominal)]),
            np.array([*self.benches, *none]).reshape(-1, len(self.space.inputs)),
            (base + self.shift[0], filler + self.shift[1], time),
            self.sweep.case.limits.base_margin,
            self.sure,
            np.array(list(product(*self.lines))) if whole else np.empty((0, len(self.lines))),
            self.budget.looks,
            self.budget.pool,
            number,
        )
        (row,) = yield Round("chances over the map", survey, [task], later, kept=False)
        if row.get("failed") is not None:
            raise MarchError(f"no chances could be fitted to these runs: {row['failed']}")
        told = json.loads(str(row["thought"]))
        settings = [Setting(tuple(s[0]), *s[1:]) for s in told["settings"]]
        return _Thought(settings, told["looks"], told["chance"], (told["q2"][0], told["q2"][1]))

    def best(
        self,
        settings: Sequence[Setting],
        without: Mapping[tuple[float, ...], Pick],
        order: Callable[[Setting], tuple[float, ...]],
    ) -> Option | None:
        """Highest of an order among settings that were not tried."""
        for setting in sorted(settings, key=order, reverse=True):
            option = self.option(setting)
            if option.place not in without:
                return option
        return None

    def option(self, setting: Setting) -> Option:
        """Point of a setting."""
        place, inputs = place_of(self.sweep.plan.axes, self.space.knobs, setting.shares)
        return Option(place, inputs, self.sweep.sorted()[0])

    def confirm(self, option: Option, later: int) -> Planner[Pick]:
        """Run a setting in full and on fresh benches; what these say teaches the responses."""
        detail = self.sweep.case.detail
        count = benches_for(self.sure, self.budget.fresh)
        (known,) = yield from full(self.sweep, [option], "confirming a pick", later + count)
        told = standing(known.row, self.sweep.words)
        head = f"{time_of(known.row):.0f} s: {told}, at {detail} detail"
        pick, at, rows = yield from with_benches(
            self.sweep, known, head, "a pick on fresh benches", count, later
        )
        self.spent += 1 + count
        if at.shape[1] == len(self.space.inputs):
            self.take([list(option.place)] * len(rows), at.tolist(), rows)
        return pick


def sure_picks(
    sweep: Sweep, known: Sequence[Difference], sure: float
) -> Planner[tuple[Picks, Chances | None]]:
    """Map the chance of success, and pick the quickest point whose chance is high enough.

    Parameters
    ----------
    sweep : the map
    known : from `tried.probe`
    sure : the chance wanted

    Raises
    ------
    MarchError
        No response could be fitted.
    """
    if not any(run.works for run in sweep.sorted()):
        looked = {difference.run.place: difference for difference in known}
        return Picks((yield from missed(sweep, options_of(sweep), looked))), None
    seeker = _Seeker(sweep, known, sure)
    axes, inputs = len(seeker.space.knobs), len(seeker.space.inputs)
    budget = sweep.plan.budget
    left = sum(after_map(sweep.plan.detail, sweep.case.detail, sure, budget))
    sobol = qmc.Sobol(axes + inputs, rng=np.random.default_rng(seed_of(0, "first runs")))
    unit = sobol.random(budget.first)
    first = np.hstack([np.round(unit[:, :axes], 3), _standard(unit[:, axes:])])
    left -= budget.first
    yield from seeker.run(first.tolist(), "settings and benches", left)
    for number in range(budget.rounds):
        told = yield from seeker.think(number, left)
        left -= budget.looks
        yield from seeker.run(told.looks, "benches near the contour", left)
    each = 2 + benches_for(sure, budget.fresh)
    tried: dict[tuple[float, ...], Pick] = {}
    for attempt in range(budget.tries):
        told = yield from seeker.think(budget.rounds + attempt, left)
        option = seeker.best(told.settings, tried, partial(_worth, sure))
        if option is None:
            break
        left -= each
        tried[option.place] = yield from seeker.confirm(option, left)
        if _good(tried[option.place], sure):
            break
    told = yield from seeker.think(budget.rounds + budget.tries, each, whole=True)
    option = seeker.best(told.settings, {}, _surest)
    if option is not None and option.place not in tried:
        tried[option.place] = yield from seeker.confirm(option, 0)
    chances = Chances(sure, seeker.lines, tuple(told.chance), told.q2, seeker.spent)
    return _picks(list(tried.values()), sure), chances


def _worth(sure: float, setting: Setting) -> tuple[float, ...]:
    """Order of settings: the quickest that is sure enough; of those as quick to 1 s, the surest."""
    enough, time = setting.worth(sure)
    return enough, round(time), setting.guarded


def _surest(setting: Setting) -> tuple[float, ...]:
    """Order of settings by their chance alone; of those that are equal to a hundredth, by time."""
    return float(setting.keeps), round(setting.guarded, 2), -setting.time


def _chance(pick: Pick) -> float:
    return 0.0 if pick.benched is None else pick.benched.chance


def _works(pick: Pick) -> bool:
    return all((pick.confirmed or {}).get(flag) is True for flag in MEASURES)


def _good(pick: Pick, sure: float) -> bool:
    return _works(pick) and _chance(pick) >= sure


def _picks(tried: list[Pick], sure: float) -> Picks:
    """The quickest of those that are sure enough, and the surest of all that work."""
    wanted = f"{100 * sure:.0f} %"
    safest = max(tried, key=lambda pick: (_works(pick), _chance(pick)))
    good = [pick for pick in tried if _good(pick, sure)]
    if good:
        quick = min(good, key=lambda pick: time_of(pick.confirmed or {}))
        why = f"the quickest found with a chance of {wanted} or more, {quick.why}"
        if len(tried) > 1:
            why += f"; the same benches chose it of {len(tried)} tried, so the chance is optimistic"
        return Picks(
            replace(quick, why=why), replace(safest, why=f"the surest tried, {safest.why}")
        )
    at = ", ".join(f"{key} = {text}" for key, text in safest.run.inputs) if safest.run else ""
    why = f"nothing tried came to a chance of {wanted}; the surest is {at}, {safest.why}"
    safest = replace(safest, why=f"the surest tried, {safest.why}")
    return Picks(Pick(None, None, why, safest.run), safest if _works(safest) else None)


def _inputs(sweep: Sweep) -> tuple[Input, ...]:
    """What varies, about the middle of the map."""
    middle = sweep.inputs_at((0.5,) * len(sweep.plan.axes))
    try:
        return inputs_of(sweep.plan.source.case(tuple(f"{k}={text}" for k, text in middle)))
    except CaseError:
        return inputs_of(sweep.case)


def _lines(sweep: Sweep) -> tuple[tuple[float, ...], ...]:
    """Nodes of the map of chances: even along the first two axes, on the grid of the others."""
    axes = sweep.plan.axes
    others = prod(len(axis.values) for axis in axes[2:])
    nodes = sweep.plan.budget.nodes
    each = nodes // 8 if len(axes) == 1 else max(9, isqrt(nodes // others))
    even = tuple(float(share) for share in np.round(np.linspace(0.0, 1.0, each), 6))
    grid = [tuple(round(axis.share(v), 6) for v in axis.values) for axis in axes[2:]]
    return (*([even] * min(2, len(axes))), *grid)
