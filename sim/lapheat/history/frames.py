"""What a march keeps of its fields on the way, if asked: frames for a film, whole fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["KEPT", "FieldFrames", "FilmFrames"]

Array = NDArray[np.float64]
Short = NDArray[np.float32]  # 0.0001 K at 1500 K: far below any error of a march

KEPT = ("film", "fields")
"""What `simulate` can be asked to keep."""


@dataclass(frozen=True)
class FilmFrames:
    """Surfaces and the section under the arc, from the first arc to the last arc-off.

    Attributes
    ----------
    time : (n,) [s]
    current : (n,) arc current, 0 with the arc off [A]
    segment : (n,) int, segment being laid or last laid, 0 before the first
    angle : (n,) of the arc [rad]
    surfaces : by name, (n, m, layers) surface temperature, places as in `SurfacePeaks` [K]
    section : (n, section cells) cell temperature of the layer at the arc's angle [K]
    alive : (n, section cells) bool, False where no filler had been laid yet
    """

    time: Array
    current: Array
    segment: NDArray[np.int64]
    angle: Array
    surfaces: Mapping[str, Short]
    section: Short
    alive: NDArray[np.bool_]


@dataclass(frozen=True)
class FieldFrames:
    """Temperature of every cell through the run, cooling included.

    Attributes
    ----------
    time : (n,) [s]
    temperature : (n, section cells, layers) nan where no filler had been laid yet [K]
    peak : (section cells, layers) highest of the whole run, nan where none was ever laid [K]
    """

    time: Array
    temperature: Short
    peak: Short
