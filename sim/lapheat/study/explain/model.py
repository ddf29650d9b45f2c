"""What runs so far say of settings not run: each key's own curve, and how two keys meet.

A key's curve goes straight from run to run and on beyond the last. Two keys add up, and what the
nearest run of both was off goes with the product of both moves:
``f(u, v) = f(u) + f(v) - f(0) + c u v``. The case's own mesh differs as at the nearest move that
was run on both.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from math import inf

import numpy as np
from numpy.typing import NDArray

from .levers import Lever, Setting

__all__ = ["Goal", "Inputs", "Model", "Move", "Tried"]

Array = NDArray[np.float64]

REACH = 3.0  # times as far as the farthest run of a key, at most, for its next
DOUBT = 1.5  # [K] for each step beyond the runs of a key
FARTHEST = 2.0  # times what a run of a pair was off is carried on, at most
LOOKS = 50  # settings looked at for one that was not run
SMALL = 0.5  # [K] a step of any key is worth: of equals the smaller change


Inputs = tuple[tuple[str, str], ...]
"""Keys and settings."""


@dataclass(frozen=True)
class Move:
    """Levers moved at once, one or two, each to a setting; none is the case as it is."""

    levers: tuple[Lever, ...] = ()
    settings: tuple[Setting, ...] = ()

    @property
    def inputs(self) -> Inputs:
        """Keys and texts."""
        pairs = zip(self.levers, self.settings, strict=True)
        return tuple((lever.key, setting.text) for lever, setting in pairs)

    @property
    def moved(self) -> dict[str, float]:
        """Steps by key."""
        pairs = zip(self.levers, self.settings, strict=True)
        return {lever.key: lever.moved(setting.value) for lever, setting in pairs}


@dataclass(frozen=True)
class Goal:
    """What is sought.

    Attributes
    ----------
    name : "limits", "margin" or "time"
    enough : more to spare than this is worth nothing [K]
    least : to spare, at least [K]; with less nothing else counts
    hopeless : worth less than this is not confirmed [K]
    time : what a saved second is worth [K]
    """

    name: str
    enough: float
    least: float = -inf
    hopeless: float = -1e2
    time: float = 0.0

    def worth(self, slack: Array, total: Array, steps: Array) -> Array:
        """Worth of points by least slack [K], total time less the case's own [s] and size (n,)."""
        spare = np.minimum(slack, self.enough) - SMALL * steps
        return np.where(slack < self.least, slack - 1e3, spare - self.time * total)


@dataclass(frozen=True)
class Tried:
    """A move that was run: slacks and total time as they are or, on the own mesh, foretold."""

    move: Move
    values: Array

    @property
    def failed(self) -> bool:
        """Whether there is no result."""
        return bool(np.isnan(self.values).any())


@dataclass
class Model:
    """Runs so far.

    Attributes
    ----------
    levers : that act
    base : slacks and total time of the case as it is, on the mesh of the search
    tried : moves that were run there, failed ones with nan
    own : moves that were run on the case's own mesh, and by how much they differ there
    """

    levers: tuple[Lever, ...]
    base: Array
    tried: list[Tried] = field(default_factory=list)
    own: list[Tried] = field(default_factory=list)

    def curve(self, lever: Lever) -> tuple[Array, Array]:
        """Moves (n,) in steps, ascending, and slacks and time there (n, k)."""
        points = {0.0: self.base}
        for tried in self.tried:
            if tried.move.levers == (lever,) and not tried.failed:
                points[tried.move.moved[lever.key]] = tried.values
        at = np.array(sorted(points))
        return at, np.array([points[u] for u in at])

    def change(self, lever: Lever, u: Array) -> Array:
        """Change of slacks and time by a key at moves (n,), (n, k)."""
        at, values = self.curve(lever)
        if len(at) == 1:
            return np.full((len(u), len(self.base)), np.nan)
        i = np.clip(np.searchsorted(at, u) - 1, 0, len(at) - 2)
        share = (u - at[i]) / (at[i + 1] - at[i])
        return values[i] + share[:, None] * (values[i + 1] - values[i]) - self.base

    def known(self, lever: Lever) -> tuple[float, float]:
        """From where to where a key was run, in steps."""
        at, _ = self.curve(lever)
        return float(at[0]), float(at[-1])

    def open(self, lever: Lever) -> list[Setting]:
        """Settings of a key that may be run: none to a side where no run succeeded, nor beyond
        one that failed.
        """
        low, high = self.known(lever)
        bad = [
            t.move.moved[lever.key] for t in self.tried if t.move.levers == (lever,) and t.failed
        ]
        least = max((u for u in bad if u < 0.0), default=-inf) if low < 0.0 else 0.0
        most = min((u for u in bad if u > 0.0), default=inf) if high > 0.0 else 0.0
        return [s for s in lever.settings if least < lever.moved(s.value) < most]

    def meeting(self, pair: tuple[Lever, Lever], u: Array, v: Array) -> Array:
        """What runs of a pair were off the sum of its keys, at moves (n,) by (m,): (n, m, k).

        As at the nearest run, in proportion to the product of both moves.
        """
        found = np.zeros((len(u), len(v), len(self.base)))
        nearest = np.full((len(u), len(v)), inf)
        for tried in self.tried:
            if tried.move.levers == pair and not tried.failed:
                a, b = (tried.move.moved[lever.key] for lever in pair)
                keys = self.change(pair[0], np.array([a])) + self.change(pair[1], np.array([b]))
                off = (tried.values - self.base - keys)[0]
                apart = np.abs(u - a)[:, None] + np.abs(v - b)
                share = np.clip(np.multiply.outer(u, v) / (a * b), 0.0, FARTHEST)
                closer = apart < nearest
                found[closer] = share[closer][:, None] * off
                nearest = np.minimum(nearest, apart)
        return found

    def shift(self, moved: dict[str, float]) -> Array:
        """What the own mesh differs at a move: as the nearest that was run on both."""
        if not self.own:
            return np.zeros(len(self.base))

        def apart(other: Tried) -> float:
            theirs = other.move.moved
            return sum(abs(moved.get(k, 0.0) - theirs.get(k, 0.0)) for k in {*moved, *theirs})

        return min(self.own, key=apart).values

    def worth(self, tried: Tried, goal: Goal) -> float:
        """Worth of a move that was run, on the own mesh; -inf where it failed."""
        if tried.failed:
            return -inf
        moved = tried.move.moved
        values = tried.values + self.shift(moved)
        steps = np.array([sum(map(abs, moved.values()))])
        least, total = values[:-1].min(keepdims=True), values[-1:] - self.base[-1]
        return float(goal.worth(least, total, steps)[0])

    def foretold(self, goal: Goal, keys: int) -> Iterator[tuple[float, Move]]:
        """Worth that is foretold of each key, or of each pair, at its best, and a move towards it.

        The move goes no farther than `REACH` times the runs of its keys.
        """
        seen = {tried.move.inputs for tried in self.tried}
        for levers in combinations(self.levers, keys):
            grids = [self.open(lever) for lever in levers]
            if all(grids):
                worth = self._worths(levers, grids, goal)
                for flat in np.argsort(-worth, axis=None, kind="stable")[:LOOKS]:
                    place = np.unravel_index(int(flat), worth.shape)
                    move = self._towards(levers, grids, [int(i) for i in place])
                    if move.inputs not in seen:
                        yield float(worth[place]), move
                        break

    def _worths(self, levers: Sequence[Lever], grids: Sequence[list[Setting]], goal: Goal) -> Array:
        """Worth that is foretold of every combination of settings, an axis a lever."""
        moves = [
            np.array([lever.moved(s.value) for s in grid])
            for lever, grid in zip(levers, grids, strict=True)
        ]
        shape = tuple(len(u) for u in moves)
        values: Array = self.base + np.zeros((*shape, len(self.base)))
        steps, beyond = np.zeros(shape), np.zeros(shape)
        for axis, (lever, u) in enumerate(zip(levers, moves, strict=True)):
            along = tuple(-1 if i == axis else 1 for i in range(len(shape)))
            low, high = self.known(lever)
            values = values + self.change(lever, u).reshape(*along, len(self.base))
            steps = steps + np.abs(u).reshape(along)
            beyond = beyond + np.maximum(low - u, np.maximum(u - high, 0.0)).reshape(along)
        if len(levers) == 2:
            values = values + self.meeting((levers[0], levers[1]), moves[0], moves[1])
        values = values + self.shift({lever.key: 0.0 for lever in levers})
        total = values[..., -1] - self.base[-1]
        return goal.worth(values[..., :-1].min(axis=-1), total, steps) - DOUBT * beyond

    def _towards(
        self, levers: Sequence[Lever], grids: Sequence[list[Setting]], place: Sequence[int]
    ) -> Move:
        """Move to a place of the grids, or as far towards it as keys may go in one go."""
        chosen = []
        for lever, grid, i in zip(levers, grids, place, strict=True):
            low, high = self.known(lever)
            near = [s for s in grid if REACH * low <= lever.moved(s.value) <= REACH * high]
            aim = grid[i].value
            chosen.append(min(near, key=lambda s: abs(s.value - aim)))
        return Move(tuple(levers), tuple(chosen))
