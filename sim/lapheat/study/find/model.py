"""What the runs so far say of settings: chance and time, and where another run is worth most."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import qmc

from ...version import mark
from ..chance.bench import points, seed_of
from ..chance.responses import DIGITS, Responses, Setting, measures
from ..chance.surrogate import MOST
from ..runs.executors import Row
from ..runs.store import reads
from .space import Space

__all__ = ["BENCHES", "Setting", "Think", "measures", "most_looks", "think", "thought_of"]

Array = NDArray[np.float64]

BENCHES = 64  # points of the scatter that a chance is the mean over
SCREENED = 24  # of them, for the first look
KEPT = 64  # of the candidates, looked at again
SOME = 16  # of them, the quickest and those that may be good
LOOKED_AT = 4  # settings of a round, at most: see `_looks`


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
    late = slice(-MOST, None)  # where a fit takes no more, the later ones lie nearer to limits
    measured = task.base[late], task.filler[late], task.time[late]
    responses = Responses(task.space, task.shares[late], task.bench[late], measured, task.wanted)
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


def most_looks(looks: int, hands: int) -> int:
    """Runs of a round that one of so many hands takes at most, of `looks` over all."""
    return max(count * _each(looks // hands, count) for count in range(1, LOOKED_AT + 1))


def _each(looks: int, settings: int) -> int:
    """Runs of each setting of a round: the case as it is, and a bench at least."""
    return max(2, looks // settings)


def _looks(
    task: Think, responses: Responses, settings: list[Setting], bench: Array
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
    each = _each(task.looks, len(order))
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
    settings = [Setting(tuple(map(float, s[0])), *map(float, s[1:])) for s in told["settings"]]
    looks = [[float(value) for value in look] for look in told["looks"]]
    return settings, looks, (float(told["q2"][0]), float(told["q2"][1]))


def _check(task: Think, row: Row) -> None:
    settings, looks, _ = thought_of(row)
    knobs, inputs = task.space.size
    numbers = [list(vars(setting).values())[1:] for setting in settings]
    shares = [setting.shares for setting in settings]
    for table, width in ((numbers, 7), (shares, knobs), (looks, knobs + inputs)):
        if np.shape(table)[1:] != (width,) or not np.isfinite(table).all():
            raise ValueError("thought")


reads(think, _check)
