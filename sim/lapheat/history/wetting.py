"""What of the base under the fillet got hot enough for the filler to wet it.

**Between faces.** A temperature runs in straight lines over the area from face to face and on to
the toe. From the first two faces to the root it runs with the square root of the distance: the lap
is a slit, and at the tip of a slit temperature goes like that (see `corners`; for bronze between
steels the exponent is 0.52 to 0.54). The face nearest to the root alone does not settle: it moves
towards the cold root with every finer mesh.

**The smallest spot.** The mean over `SPOT` of the side decides if a spot is dry or wet. In the
model the root is a perfectly sharp corner, colder than all around it. In the part the bore's edge
is broken and molten filler rounds the corner. ISO 13715 calls an edge sharp up to a deviation of
0.05 mm (from memory), and the usual clearance of the lap is 0.1 mm. No source gives the smallest
dry spot that counts. 0.2 mm is the cautious choice: larger spots hide a dry root.

**Nothing stirs** unless `fillet.stirring` says so. A stirred puddle carries more heat to the root
and leaves less on the tube's toe. With molten filler that conducts twice as well the demo's root
was 17 K hotter, its tube 49 K colder and its filler 110 K colder. Published factors for molten
pools run from 1 (no convection seen below about 100 A: ASME J. Heat Transfer 105 (1983) 550,
abstract) to 4 (Goldak, Chakravarti and Bibby 1984, Metall. Trans. B 15, 299, from memory). None is
for silicon bronze. A factor of 1 is the cautious choice for base and filler alike.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, pi, sqrt

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "SPOT",
    "Dry",
    "Spot",
    "Spots",
    "level_of_share",
    "reached",
    "share_above",
    "spots",
    "wet_share",
]

Array = NDArray[np.float64]

SPOT = 0.2e-3  # [m] the smallest stretch of a side that is judged by itself
CURVE = (0.0, 0.0625, 0.25, 0.5625)  # points between root and first face, over that face's place
MEAN = 4.0 / 9.0  # of a stretch from the root: where the root of the distance has its mean


@dataclass(frozen=True)
class Spot:
    """Coldest spot of a side: `peak` [K], `from_root` [m] along the side, `angle` [rad]."""

    peak: float
    from_root: float
    angle: float


@dataclass(frozen=True)
class Dry:
    """Stretch of the ring where a side has a dry spot; angles [rad], `end` may pass 2 pi.

    `coldest` is the lowest peak in it [K], `from_root` where that is along the side [m], `segments`
    the numbers it touches.
    """

    begin: float
    end: float
    coldest: float
    from_root: float
    segments: tuple[int, ...]


def share_above(values: Array, at: Array, level: float | Array) -> Array:
    """Share of a line on which a value is at `level` or above; straight between its points.

    A stretch with one end above and one below counts by ``(high - level) / (high - low)``.

    Parameters
    ----------
    values : (n, ...) at the points
    at : (n,) where they are, ascending

    Returns
    -------
    share : (...) 0 to 1
    """
    over = values - level
    high, low = np.maximum(over[:-1], over[1:]), np.minimum(over[:-1], over[1:])
    span = np.where(high > low, high - low, 1.0)
    part = np.where(low >= 0.0, 1.0, np.where(high > 0.0, high / span, 0.0))
    share = np.zeros(over.shape[1:])
    for stretch, width in zip(part, np.diff(at), strict=True):
        share += stretch * width
    return np.asarray(np.minimum(share / (at[-1] - at[0]), 1.0))


def _along(values: Array, at: Array, place: float) -> Array:
    """Value at a place of a side, (layers,); straight between faces and beyond the outermost."""
    if len(at) == 1:
        return np.asarray(values[0], dtype=float)
    i = min(max(int(np.searchsorted(at, place)), 1), len(at) - 1)
    weight = (place - at[i - 1]) / (at[i] - at[i - 1])
    return np.asarray(values[i - 1] + weight * (values[i] - values[i - 1]))


def _near_root(values: Array, at: Array, places: Array) -> Array:
    """Values at some places between root and first face, (places, layers).

    They run with the root of the distance:
    ``T(x) = T_1 + (sqrt(x) - sqrt(x_1)) / (sqrt(x_2) - sqrt(x_1)) (T_2 - T_1)``: T_1 and T_2 at the
    first two faces [K], x from the root, in [m] or as a share of the side's area, which goes with
    the distance but for the curve of the ring. It is the form at the tip of a slit, p = 1/2, see
    `corners`. A single face is taken as it is.
    """
    if len(at) == 1:
        return np.repeat(np.asarray(values[:1], dtype=float), len(places), axis=0)
    first, second = sqrt(at[0]), sqrt(at[1])
    weight = (np.sqrt(places) - first) / (second - first)
    return np.asarray(values[0] + weight[:, None] * (values[1] - values[0]))


def _whole(values: Array, area: Array) -> tuple[Array, Array]:
    """Values from root to toe (n, layers), and the share of the area before each (n,)."""
    at = (np.cumsum(area) - 0.5 * area) / area.sum()
    before = at[0] * np.array(CURVE)
    root, toe = _near_root(values, at, before), _along(values, at, 1.0)[None]
    return np.concatenate([root, values, toe]), np.concatenate([before, at, [1.0]])


def wet_share(peak: Array, area: Array, level: float) -> Array:
    """Share of a side's area that peaked at `level` [K] or above, by layer; nan where none is laid.

    The share is `share_above` of the line from root to toe that the module's docstring describes.

    Parameters
    ----------
    peak : (m, layers) from root to toe, nan where no filler was laid [K]
    area : (m,) of these faces in one layer [m2]
    """
    laid = np.isfinite(peak).all(axis=0)
    share = np.full(peak.shape[1], np.nan)
    share[laid] = share_above(*_whole(peak[:, laid], area), level)
    return share


def level_of_share(peak: Array, area: Array, share: float) -> float:
    """Temperature that a share of a side's laid area has reached [K]; see `wet_share`.

    The highest level L with ``mean over layers of wet_share(L) >= share``, by halving a bracket 60
    times.
    """
    values, at = _whole(peak[:, np.isfinite(peak).all(axis=0)], area)
    return _highest(values, lambda level: bool(share_above(values, at, level).mean() >= share))


def reached(now: Array, area: Array, share: float) -> float:
    """Temperature that a share of one layer's side has reached [K]; `now` is (m,).

    The share is a straight line in the level between any two of the values it runs through.
    """
    values, at = _whole(now[:, None], area)
    levels = np.sort(values, axis=None)[::-1]
    return float(np.interp(share, share_above(values, at, levels), levels))


def _highest(values: Array, holds: Callable[[float], bool]) -> float:
    """Highest level [K] at which `holds` is true, which it is for all lower ones."""
    low, high = float(values.min()), float(values.max())
    for _ in range(60):
        middle = 0.5 * (low + high)
        if holds(middle):
            low = middle
        else:
            high = middle
    return low


def spots(values: Array, edges: Array, segments: int, radius: float, level: bool = False) -> Spots:
    """Means over spots of a side, `SPOT` long and wide.

    The mean over a spot of a straight line is its value at the middle. That of ``sqrt(x)`` from the
    root over the length L is its value at ``4/9 L``. Where a segment begins or ends, what lies next
    to it has a history of its own: there the line of its own layers goes on.

    Parameters
    ----------
    values : (m, layers) of the faces, from root to toe; nan where no filler was laid
    edges : (m + 1,) ends of the faces, from the root [m]
    segments : number of segments round the ring
    radius : of the tube [m]
    level : beyond the outermost faces and layers values stay as they are there
    """
    at, leg = 0.5 * (edges[1:] + edges[:-1]), float(edges[-1])
    half = 0.5 * SPOT
    low = 2.0 * half * MEAN
    inside = (at > low) & (at < leg - half)
    at_tip = low < at[0]
    root = _near_root(values, at, np.array([low]))[0] if at_tip else _along(values, at, low)
    toe = _along(values, at, leg - half)
    if level:
        root, toe = values[0], values[-1]
    across = np.concatenate([root[None], values[inside], toe[None]])
    layers = values.shape[1]
    per, step = layers // segments, 2.0 * pi / layers
    near = min(0.5 * SPOT / radius, 0.49 * step)
    middle = (np.arange(per) + 0.5) * step
    each = across.reshape(len(across), segments, per)
    first, last = (_along(np.moveaxis(each, 2, 0), middle, x) for x in (near, per * step - near))
    # towards an end it may grow colder, and is not taken to grow hotter
    first = each[..., 0] if level else np.minimum(first, each[..., 0])
    last = each[..., -1] if level else np.minimum(last, each[..., -1])
    whole = np.concatenate([first[..., None], each, last[..., None]], axis=2)
    angle = np.concatenate([[near], middle, [per * step - near]])
    return Spots(
        values=whole.reshape(len(across), -1),
        from_root=np.concatenate([[low], at[inside], [leg - half]]),
        angle=np.asarray((np.arange(segments)[:, None] * per * step + angle).ravel()),
        segments=segments,
    )


@dataclass(frozen=True)
class Spots:
    """Spots of a side: `values` (n, k) at `from_root` (n,) [m] and `angle` (k,) [rad].

    Each of the `segments` has as many of the k; nan where no filler was laid.
    """

    values: Array
    from_root: Array
    angle: Array
    segments: int

    @property
    def lowest(self) -> Array:
        """(k,) lowest from root to toe."""
        return np.asarray(self.values.min(axis=0))

    def coldest(self) -> Spot:
        """Spot of the lowest value.

        Raises
        ------
        ValueError
            No filler was laid.
        """
        if not np.isfinite(self.values).any():
            raise ValueError("no filler was laid")
        row, column = np.unravel_index(int(np.nanargmin(self.values)), self.values.shape)
        value = float(self.values[row, column])
        return Spot(value, float(self.from_root[row]), float(self.angle[column]))

    def dry(self, level: float) -> tuple[Dry, ...]:
        """Find where round the ring there is a spot below `level` [K].

        The lowest peak runs in straight lines from angle to angle, so that a stretch does not
        grow by whole layers.

        Returns
        -------
        spans : by angle; one that runs over 0 ends past 2 pi
        """
        low, angle, count = self.lowest, self.angle, len(self.angle)
        runs = _runs(np.isfinite(low) & (low < level))
        if runs == [(0, count)]:
            everywhere = tuple(range(1, self.segments + 1))
            return (Dry(0.0, 2.0 * pi, *self._lowest_in(np.arange(count)), everywhere),)
        edge = float(angle[0])  # from a segment's end to its outermost spot

        def beyond(inside: int, outside: int) -> float:
            """How far a stretch reaches beyond its outermost spot, towards its neighbour."""
            i, o = inside % count, outside % count
            if not np.isfinite(low[o]):
                return edge
            gap = abs(float(angle[o] - angle[i]))
            return min(gap, 2.0 * pi - gap) * float((level - low[i]) / (low[o] - low[i]))

        spans = []
        for first, length in runs:
            last = first + length - 1
            inside = np.arange(first, last + 1) % count
            turn = 2.0 * pi if last >= count else 0.0
            begin = float(angle[first]) - beyond(first, first - 1)
            end = float(angle[last % count]) + turn + beyond(last, last + 1)
            turn = 2.0 * pi if begin < 0.0 else 0.0
            coldest, from_root = self._lowest_in(inside)
            spans.append(
                Dry(
                    begin=begin + turn,
                    end=end + turn,
                    coldest=coldest,
                    from_root=from_root,
                    segments=tuple(sorted({int(k * self.segments // count) + 1 for k in inside})),
                )
            )
        return tuple(spans)

    def _lowest_in(self, columns: NDArray[np.int64]) -> tuple[float, float]:
        """Lowest value in some columns, and how far from the root [m]."""
        row, column = np.unravel_index(
            int(np.argmin(self.values[:, columns])), (len(self.values), len(columns))
        )
        return float(self.values[row, columns[column]]), float(self.from_root[row])

    def level_but_for(self, angle: float) -> float:
        """Temperature that all reached but for stretches of at most `angle` [rad] each [K].

        inf where no stretch could be longer.
        """

        def holds(level: float) -> bool:
            return all(span.end - span.begin <= angle for span in self.dry(level))

        laid = self.lowest[np.isfinite(self.lowest)]
        return inf if holds(float(laid.max()) + 1.0) else _highest(laid, holds)


def _runs(flags: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First index and length of each run of True round a ring."""
    n = len(flags)
    if flags.all():
        return [(0, n)]
    starts = np.flatnonzero(flags & ~np.roll(flags, 1))
    ends = np.flatnonzero(~flags & np.roll(flags, 1))
    return [(int(a), int(min((b - a) % n for b in ends))) for a in starts]
