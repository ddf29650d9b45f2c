"""What the runs so far say of settings: chance and time, and where another run is worth most.

The margin of the base, the slack of the filler and the time of a run are smooth in settings and
scatter alike, so one response each is fitted over both. The chance of a setting is the mean, over
a bench's scatter, of the probability that both are above zero.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from ...version import mark
from ..chance.bench import points, seed_of
from ..chance.surrogate import Surrogate
from ..runs.executors import Row
from .space import Space

__all__ = ["FAR", "Setting", "Think", "measures", "think", "thought_of"]

Array = NDArray[np.float64]

FAR = 150.0  # [K] beyond which a margin or a slack counts as hardly more
BENCHES = 64  # points of the scatter that a chance is the mean over
SCREENED = 24  # of them, for the first look
KEPT = 64  # of the candidates, looked at again
SOME = 16  # of them, the quickest and those that may be good
DIGITS = 6
BAND = 1.64  # standard deviations to either side


@dataclass(frozen=True)
class Setting:
    """A setting by its shares of the ranges, and what the responses say of it.

    Attributes
    ----------
    shares : (knobs,)
    chance : that a bench succeeds, counting what the responses do not know as risk
    likely : the same, taking the responses at their word
    low, high : the same with both responses 1.64 of their standard deviations lower, and higher
    time : [s]
    base, filler : of the case as it is, over what it asks for [K]
    """

    shares: tuple[float, ...]
    chance: float
    likely: float
    low: float
    high: float
    time: float
    base: float
    filler: float

    @property
    def guarded(self) -> float:
        """Chance that is believed: where the responses know little it is far below `chance`."""
        return 0.5 * (self.chance + self.low)

    @property
    def keeps(self) -> bool:
        """Whether the case as it is keeps the margins that it asks for."""
        return self.base >= 0.0 and self.filler >= 0.0

    def worth(self, sure: float, optimist: bool = False) -> tuple[float, float]:
        """Order of settings: the surest until sure enough, then the quickest."""
        chance = self.likely if optimist else self.guarded
        if not self.keeps:
            chance = min(chance, sure) - 0.2
        return (1.0, -self.time) if chance >= sure else (chance, 0.0)


@dataclass(frozen=True)
class Think:
    """A task: fit to the runs of one hand, and propose; done by a worker, on one thread.

    Attributes
    ----------
    space : the hand
    shares, bench : (n, knobs), (n, inputs) of the runs
    base, filler, time : (n,) what came of them [K], [K], [s]
    known : (m, knobs) settings that seemed good before; m may be 0
    sure : the chance wanted
    wanted : margin of the base the case as it is must keep [K]
    looks, candidates : runs to propose, and settings to ask the responses about
    seed, number : of the search, and of this round
    """

    space: Space
    shares: Array
    bench: Array
    base: Array
    filler: Array
    time: Array
    known: Array
    sure: float
    wanted: float
    looks: int
    candidates: int
    seed: int
    number: int

    def key(self) -> str:
        """Hash of all of it."""
        told = hashlib.sha256(f"{mark()} think {self.space.source.text}".encode())
        asked = (
            self.space.knobs,
            self.sure,
            self.wanted,
            self.looks,
            self.candidates,
            self.seed,
            self.number,
        )
        told.update(repr(asked).encode())
        for array in (self.shares, self.bench, self.base, self.filler, self.time, self.known):
            told.update(np.ascontiguousarray(np.round(array, 9)).tobytes())
        return told.hexdigest()[:24]


def measures(rows: Sequence[Row]) -> tuple[Array, Array, Array]:
    """Margin of the base [K], slack of the filler [K] and time [s] of runs; nan where not known.

    An arc too weak to melt the rod is refused: that base stays solid and no filler flows.
    """
    base, filler, time = [], [], []
    for row in rows:
        if row.get("failed") is not None:
            keys = set(str(row.get("refused") or "?").split())
            weak = keys <= {"arc.current", "arc.current_range"}
            base.append(FAR if weak else np.nan)
            filler.append(-2.0 * FAR if weak else np.nan)
            time.append(np.nan)
            continue
        margin, slack = row.get("margin_K"), row.get("filler_slack_K")
        base.append(FAR if margin is None else float(margin))
        filler.append(-2.0 * FAR if slack is None else float(slack))
        time.append(float(row["total_s"] or 0.0))
    return np.array(base), np.array(filler), np.array(time)


def _near(values: Array) -> Array:
    """Values whose far ends hardly count: what melts by 600 K says little about what melts by 6."""
    return np.asarray(FAR * np.tanh(values / FAR))


class _Responses:
    def __init__(self, task: Think) -> None:
        points = np.column_stack([task.shares, task.bench])
        # a bench that was run twice would be predicted from its own twin
        _, once = np.unique(np.round(points, DIGITS), axis=0, return_index=True)
        keep = np.sort(once[np.isfinite(task.base[once])])
        at = task.space.features(task.shares[keep], task.bench[keep])
        self.space, self.wanted = task.space, task.wanted
        self.base = Surrogate.fit(at, _near(task.base[keep]))
        self.filler = Surrogate.fit(at, _near(task.filler[keep]))
        time = task.time[keep]
        known = np.isfinite(time)
        self.time = Surrogate.fit(at[known], np.log(time[known]))

    def chances(self, shares: Array, bench: Array) -> list[Array]:
        """Chance, likely, low and high chance of settings (n, knobs) over benches (m, inputs)."""
        count, many = len(shares), len(bench)
        at = self.space.features(np.repeat(shares, many, axis=0), np.tile(bench, (count, 1)))
        over = [
            response(at) / np.maximum(response.spread(at), 1e-9)
            for response in (self.base, self.filler)
        ]
        sure = norm.cdf(over[0]) * norm.cdf(over[1])
        least = np.minimum(*over)
        told = [sure, least > 0.0, least > BAND, least > -BAND]
        return [np.asarray(x, dtype=float).reshape(count, many).mean(axis=1) for x in told]

    def settings(self, shares: Array, bench: Array) -> list[Setting]:
        """What the responses say of settings (n, knobs)."""
        nominal = self.space.features(shares, np.zeros((len(shares), bench.shape[1])))
        told = [
            *self.chances(shares, bench),
            np.exp(self.time(nominal)),
            self.base(nominal) - FAR * np.tanh(self.wanted / FAR),
            self.filler(nominal),
        ]
        return [
            Setting(
                tuple(np.round(shares[i], DIGITS).tolist()),
                *(round(float(x[i]), DIGITS) for x in told),
            )
            for i in range(len(shares))
        ]

    def telling(self, shares: Array, bench: Array) -> Array:
        """How likely the responses are wrong on each bench: there a run is worth most."""
        at = self.space.features(np.repeat(shares[None, :], len(bench), axis=0), bench)
        doubts = [
            norm.cdf(-np.abs(response(at)) / np.maximum(response.spread(at), 1e-9))
            for response in (self.base, self.filler)
        ]
        return np.asarray(np.maximum(*doubts))


def _ranked(settings: list[Setting], sure: float, optimist: bool) -> list[Setting]:
    return sorted(settings, key=lambda s: s.worth(sure, optimist), reverse=True)


def _pool(near: Array, count: int, size: float, rng: np.random.Generator) -> Array:
    """Candidates about settings, all inside the ranges."""
    around = near[rng.integers(len(near), size=count)]
    return np.asarray(np.clip(around + size * rng.standard_normal(around.shape), 0.0, 1.0))


def _settable(space: Space, shares: Array) -> Array:
    return np.array([space.settable(row)[0] for row in shares])


def think(task: Think) -> Row:
    """Fit, look for settings, and say where to run next."""
    rng = np.random.default_rng([task.seed, task.number])
    knobs, inputs = task.space.size
    responses = _Responses(task)
    bench = points(BENCHES, inputs, seed_of(task.seed, "benches of a chance"))
    few = bench[:SCREENED]
    best = responses.settings(task.known, few) if len(task.known) else []
    pool = qmc.Sobol(knobs, rng=rng).random(task.candidates)
    for size in (None, 0.12, 0.05):
        if size is not None:
            pool = _pool(np.array([s.shares for s in best[:16]]), task.candidates // 4, size, rng)
        found = responses.settings(pool, few)
        ranked = _ranked(found, task.sure, False)[:KEPT] + _ranked(found, task.sure, True)[:SOME]
        best = _ranked([*best, *ranked], task.sure, False)
    optimists = _ranked(best, task.sure, True)[:SOME]
    quick = sorted((s for s in best if s.chance > 0.5 * task.sure), key=lambda s: s.time)[:SOME]
    chosen = [*best[:KEPT], *optimists, *quick]
    shares = np.vstack([_settable(task.space, np.array([s.shares for s in chosen])), task.known])
    # the run that did best: where responses are poor its setting says more than they do
    done = task.shares[np.nanargmax(np.minimum(task.base, task.filler))]
    settings = responses.settings(np.unique(np.round(shares, DIGITS), axis=0), bench)
    front = _front(settings, task.sure)
    more = points(BENCHES, inputs, seed_of(task.seed, "benches to look at", task.number))
    settings += responses.settings(done[None, :], bench)
    looks = _looks(task, responses, settings, more)
    told = {
        "settings": [list(vars(s).values()) for s in front],
        "looks": looks,
        "q2": [round(responses.base.q2, DIGITS), round(responses.filler.q2, DIGITS)],
    }
    return {"thought": json.dumps(told), "failed": None}


def _front(settings: list[Setting], sure: float) -> list[Setting]:
    """The best first, then those that no other beats in both chance and time."""
    front = _ranked(settings, sure, False)[:SOME]
    quickest = np.inf
    for setting in sorted(settings, key=lambda s: (-s.guarded, s.time)):
        if setting.time < quickest and setting.filler >= 0.0:
            quickest = setting.time
            if setting not in front:
                front.append(setting)
    return front


def _looks(
    task: Think, responses: _Responses, settings: list[Setting], bench: Array
) -> list[list[float]]:
    """Benches of the pick, of the quickest that may do, of the surest, and of the best run.

    Where doubt is most; the setting of the best run is the last one.
    """
    order = [
        max(settings, key=lambda s: s.worth(task.sure)),
        max(settings, key=lambda s: s.worth(task.sure, optimist=True)),
        max(settings, key=lambda s: (s.guarded, -s.time)),
        settings[-1],
    ]
    order = [setting for i, setting in enumerate(order) if setting not in order[:i]]
    each = max(2, task.looks // len(order))
    looks: list[list[float]] = []
    for setting in order:
        shares = np.array(setting.shares)
        worth = responses.telling(shares, bench)
        chosen = np.argsort(-worth, kind="stable")[: each - 1]
        looks.append([*setting.shares, *np.zeros(bench.shape[1]).tolist()])
        looks += [[*setting.shares, *np.round(bench[i], DIGITS).tolist()] for i in chosen]
    return looks


def thought_of(row: Row) -> tuple[list[Setting], list[list[float]], tuple[float, float]]:
    """Take a thought from its row: settings, the pick first; points to run; how good the fits are.

    Raises
    ------
    ValueError
        The fit failed.
    """
    if row.get("failed") is not None:
        raise ValueError(str(row["failed"]))
    told = json.loads(str(row["thought"]))
    settings = [Setting(tuple(s[0]), *s[1:]) for s in told["settings"]]
    return settings, told["looks"], (told["q2"][0], told["q2"][1])
