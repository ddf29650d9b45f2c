"""What varies on a bench: inputs with their spreads, and points spread evenly over all of them."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from math import ceil, log2
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc, truncnorm

from ...case.case import Case, Spread
from ...case.units import (
    ANGLE,
    CURRENT,
    LENGTH,
    NUMBER,
    SPEED,
    TEMPERATURE,
    TIME,
    Kind,
    rounded,
    write_quantity,
)

__all__ = [
    "HALF",
    "STANDARD",
    "Input",
    "benches_for",
    "inputs_of",
    "points",
    "seed_of",
    "strayed",
    "wilson",
]

Array = NDArray[np.float64]
Number = TypeVar("Number", float, Array)

HALF = float(norm.ppf(0.975))  # standard deviations within which 95 % of a normal lie
CUT = 1.5 * HALF  # where every spread ends: 0.3 % lie beyond, among them what no bench does
STANDARD = truncnorm(-CUT, CUT)
"""Distribution of every input, in its own standard deviations."""


def benches_for(sure: float, least: int) -> int:
    """Benches that confirm a chance: at least so many, and more than 90 % needs more still."""
    return max(least, ceil(4.8 / (1.0 - sure)) if sure > 0.9 else 0)


def strayed(value: Number, spread: Spread, z: Number) -> Number:
    """Value `z` standard deviations off, by its spread; see `Input.at`."""
    u = z / HALF
    if spread.way == "factor":
        factor: Number = spread.size**u
        return value * factor
    if spread.way == "share":
        return value * (1.0 + spread.size * u)
    return value + spread.size * u


@dataclass(frozen=True)
class Input:
    """One thing that varies.

    Attributes
    ----------
    name : as in `[scatter]`
    key : of the case file
    kind : its dimension
    value : in the case [SI]
    spread : within which 95 % lie
    """

    name: str
    key: str
    kind: Kind
    value: float
    spread: Spread

    def at(self, z: float) -> float:
        """Value `z` standard deviations off the case's [SI].

        With ``u = z / 1.96``: ``v + size u`` for an amount, ``v (1 + size u)`` for a share and
        ``v size^u`` for a factor, so 95 % of a normal z lie within the spread.
        """
        return rounded(strayed(self.value, self.spread, z))

    def text(self, z: float) -> str:
        """Write the value `z` standard deviations off the case's as a case file would."""
        return write_quantity(self.at(z), self.kind)

    @property
    def told(self) -> str:
        """Spread in words: "66 A, 95 % within 5 %"."""
        value, size = self.written(self.value), self.spread.size
        if self.spread.way == "factor":
            return f"{value}, 95 % within a factor of {size:g}"
        if self.spread.way == "share":
            return f"{value}, 95 % within {100.0 * size:g} %"
        if self.kind is TEMPERATURE:
            return f"{value}, 95 % within {size:g} K"
        return f"{value}, 95 % within {self.written(size)}"

    def written(self, value: float) -> str:
        """Write a value [SI] for a person, to four digits."""
        number, _, unit = write_quantity(rounded(value), self.kind).partition(" ")
        return f"{float(number):.4g} {unit}".strip()


def inputs_of(case: Case) -> tuple[Input, ...]:
    """Everything that varies in this case; a spread of 0, or a factor of 1, is left out."""
    arc, travel, scale = case.arc, case.travel, case.scale
    known: dict[str, tuple[str, Kind, float]] = {
        "current": ("arc.current", CURRENT, arc.current),
        "efficiency": ("arc.efficiency", NUMBER, arc.efficiency),
        "arc_length": ("arc.length", LENGTH, arc.length or 0.0),
        "spot": ("arc.spot", LENGTH, arc.spot),
        "speed": ("travel.speed", SPEED, travel.speed),
        "aim": ("arc.aim", LENGTH, arc.aim),
        "work_angle": ("arc.work_angle", ANGLE, arc.work_angle),
        "wall": ("tube.wall", LENGTH, case.tube.wall),
        "clearance": ("lap.clearance", LENGTH, case.lap.clearance if case.lap else 0.0),
        "conductivity": ("scale.conductivity", NUMBER, scale.conductivity),
        "emissivity": ("scale.emissivity", NUMBER, scale.emissivity),
        "hold": ("arc.hold", TEMPERATURE, arc.hold or 0.0),
        "pedal_lag": ("arc.pedal_lag", TIME, arc.pedal_lag),
    }
    spreads = dict(case.scatter)
    # What arc.length gives is varied by a factor on it, so that it still follows the length.
    for name in ("efficiency", "spot"):
        if name in arc.derived:
            _, _, value = known[name]  # [SI], what a spread in its unit is a share of
            known[name] = (f"scale.{name}", NUMBER, getattr(scale, name))
            if spreads[name].way == "amount":
                spreads[name] = Spread(spreads[name].size / value, "share")
    return tuple(
        Input(name, *known[name], spread)
        for name, spread in spreads.items()
        if spread.size != (1.0 if spread.way == "factor" else 0.0)
    )


def points(count: int, inputs: int, seed: int) -> Array:
    """Scrambled Sobol points, each input in its own standard deviations, (count, inputs).

    The first rows are the same whatever the count.

    References
    ----------
    Owen, A. B. (1998), Scrambling Sobol' and Niederreiter-Xing points, J. Complexity 14, 466.
    """
    sobol = qmc.Sobol(inputs, rng=np.random.default_rng(seed))
    unit = sobol.random_base2(ceil(log2(max(count, 1))))[:count]
    return np.asarray(STANDARD.ppf(unit), dtype=float)


def seed_of(seed: int, purpose: str, number: int = 0) -> int:
    """Seed of one use of a search's seed, so that no two uses share their points."""
    told = hashlib.sha256(f"{seed} {purpose} {number}".encode()).digest()
    return int.from_bytes(told[:6], "big")


def wilson(hits: float, count: int) -> tuple[float, float]:
    """95 % interval of a chance that was met `hits` times in `count` independent trials.

    ``(p + z^2 / 2n +- z sqrt(p (1 - p) / n + z^2 / 4n^2)) / (1 + z^2 / n)``: p = hits / count [-],
    n = count, z = 1.96. It is (0, 1) without trials.

    Never empty at 0 or at `count`. Sobol points are spread more evenly than independent ones: for
    them it is too wide rather than too narrow.

    References
    ----------
    Wilson, E. B. (1927), Probable inference, the law of succession, and statistical inference,
    J. Am. Stat. Assoc. 22, 209.
    """
    if count == 0:
        return 0.0, 1.0
    share, z2 = hits / count, HALF * HALF
    middle = (share + z2 / (2.0 * count)) / (1.0 + z2 / count)
    half = (
        HALF
        / (1.0 + z2 / count)
        * np.sqrt(share * (1.0 - share) / count + z2 / (4.0 * count * count))
    )
    low = 0.0 if hits == 0 else float(middle - half)
    return low, 1.0 if hits == count else float(middle + half)
