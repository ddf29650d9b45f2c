"""Case -> schedule: which stretch of the ring is brazed when, in which direction."""

from __future__ import annotations

from dataclasses import dataclass
from math import pi

from ..case.case import Case

__all__ = ["Schedule", "Segment", "order_of", "schedule_of", "spelled_order", "zero_of"]


@dataclass(frozen=True)
class Segment:
    """One run of the arc. Angles [rad], in the direction the arc goes.

    Attributes
    ----------
    number : 1 .. N round the ring
    run_from, run_to : where the arc travels, overlap included
    lay_from, lay_to : where new filler is laid
    first_layer, last_layer : mesh layers of the new filler, as a half-open range
    """

    number: int
    run_from: float
    run_to: float
    lay_from: float
    lay_to: float
    first_layer: int
    last_layer: int

    @property
    def direction(self) -> int:
        """+1 with growing angle, -1 against it."""
        return 1 if self.lay_to > self.lay_from else -1


@dataclass(frozen=True)
class Schedule:
    """The segments in the order they are run, and the rhythm they share.

    Attributes
    ----------
    segments : in order of running
    count : number N of segments that would close the ring
    rate : angular speed of the arc [rad/s]
    """

    segments: tuple[Segment, ...]
    count: int
    rate: float


def _nearest(target: float, free: list[int]) -> int:
    """Free segment number nearest to `target` (in segments, may be fractional).

    All free ones lie ahead of the segment that the target is counted from: the other way round the
    ring is never nearer.
    """
    return min(free, key=lambda n: (round(abs(n - target), 9), n))


def order_of(order: str | tuple[int, ...], count: int) -> tuple[int, ...]:
    """Segment numbers in the order they are run.

    Parameters
    ----------
    order : "in-turn", "opposite", "quarters", "backstep", or the numbers themselves
    count : number of segments round the ring

    Raises
    ------
    ValueError
        The order is not one of the names.
    """
    if not isinstance(order, str):
        return tuple(order)
    if order in ("in-turn", "backstep"):
        return tuple(range(1, count + 1))
    turns = {"opposite": (0.5,), "quarters": (0.5, 0.25, 0.75)}
    if order not in turns:
        raise ValueError(f"unknown order {order!r}")
    free = list(range(1, count + 1))
    run: list[int] = []
    while free:
        lead = free.pop(0)
        run.append(lead)
        for turn in turns[order]:
            if free:
                pick = _nearest(lead + turn * count, free)
                free.remove(pick)
                run.append(pick)
    return tuple(run)


def _laid(case: Case) -> tuple[int, ...]:
    """Numbers of the segments that a case lays, in the order they are run."""
    count = case.segment_count
    numbers = order_of(case.travel.order, count)
    return numbers[: max(1, round(case.travel.coverage * count))]


def spelled_order(case: Case) -> str:
    """Order of segments by its name and number by number: "opposite: 1, 4, 2, 5, 3, 6"."""
    order, numbers = case.travel.order, ", ".join(map(str, _laid(case)))
    return f"{order}: {numbers}" if isinstance(order, str) else numbers


def zero_of(case: Case) -> tuple[str, str]:
    """Where angle 0 lies on the ring, and which way angles grow, in words."""
    if case.travel.order == "backstep":  # its runs begin at their far end
        return "end of segment 1", "against the direction of travel"
    first = _laid(case)[0] == 1
    return "first start point" if first else "start of segment 1", "in the direction of travel"


def schedule_of(case: Case, layers: int) -> Schedule:
    """Lay the segments of a case out on a ring of `layers` layers (a multiple of N).

    Where a run meets filler already laid, at its start or at its end, it goes
    `travel.overlap` over it.
    """
    count = case.segment_count
    travel = case.travel
    numbers = _laid(case)
    width = 2.0 * pi / count
    per = layers // count
    over = travel.overlap / case.tube.radius
    laid: set[int] = set()
    segments = []
    for number in numbers:
        low, high = (number - 1) * width, number * width
        before = (number - 2) % count + 1 in laid
        behind_low = over if before else 0.0
        beyond_high = over if number % count + 1 in laid else 0.0
        run = (low - behind_low, high + beyond_high)
        lay = (low, high)
        if travel.order == "backstep":
            run, lay = run[::-1], lay[::-1]
        segments.append(
            Segment(
                number=number,
                run_from=run[0],
                run_to=run[1],
                lay_from=lay[0],
                lay_to=lay[1],
                first_layer=(number - 1) * per,
                last_layer=number * per,
            )
        )
        laid.add(number)
    return Schedule(tuple(segments), count, travel.speed / case.tube.radius)
