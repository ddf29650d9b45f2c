"""What runs say of settings: their chance and time, from responses fitted to all of them.

The margin of the base, the slack of the filler and the time of a run are smooth in settings and
scatter alike, so one response each is fitted over both. The chance of a setting is the mean, over
a bench's scatter, of the probability that both are above zero.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from ..runs.executors import Row
from .surrogate import FAR, Surrogate, near, varies

__all__ = ["DIGITS", "Responses", "Setting", "measures"]

Array = NDArray[np.float64]

BAND = 1.64  # standard deviations to either side
DIGITS = 6


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


@dataclass(frozen=True)
class Flat:
    """Response that no run has seen change."""

    value: float
    q2: float = 1.0

    def __call__(self, at: Array) -> Array:
        """Response at (m, d) points, (m,)."""
        return np.full(len(at), self.value)

    def spread(self, at: Array) -> Array:
        """Its standard deviation there, (m,)."""
        return np.zeros(len(at))


def _response(at: Array, found: Array) -> Surrogate | Flat:
    """Response fitted to runs; one that does not vary is flat."""
    return Surrogate.fit(at, found) if varies(found) else Flat(float(found.mean()))


class Space(Protocol):
    """What can be set and what varies."""

    def features(self, shares: Array, bench: Array) -> Array:
        """Points that a response is fitted over, (n, features), from (n, knobs), (n, inputs)."""
        ...


class Responses:
    """Margin, slack and time, each fitted over settings and scatter together.

    Parameters
    ----------
    space : what can be set and what varies
    shares, bench : (n, knobs), (n, inputs) of the runs
    found : (n,) each: margin of the base [K], slack of the filler [K], time [s]; nan: not known
    wanted : margin of the base the case as it is must keep [K]

    Attributes
    ----------
    base, filler, time : the responses
    """

    def __init__(
        self,
        space: Space,
        shares: Array,
        bench: Array,
        found: tuple[Array, Array, Array],
        wanted: float,
    ) -> None:
        base, filler, time = found
        points = np.column_stack([shares, bench])
        # a bench that was run twice would be predicted from its own twin
        _, once = np.unique(np.round(points, DIGITS), axis=0, return_index=True)
        keep = np.sort(once[np.isfinite(base[once])])
        at = space.features(shares[keep], bench[keep])
        self.space, self.wanted = space, wanted
        self.base = _response(at, near(base[keep]))
        self.filler = _response(at, near(filler[keep]))
        time = time[keep]
        known = np.isfinite(time)
        self.time = _response(at[known], np.log(time[known]))

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
            self.base(nominal) - near(np.array(self.wanted)),
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
