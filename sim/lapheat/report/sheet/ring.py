"""The ring seen from the torch: segments numbered in the order of laying, with arrows."""

from __future__ import annotations

from collections.abc import Callable
from math import ceil, cos, degrees, hypot, pi, sin

import numpy as np

from ...history.records import History, SegmentRun
from ...joint.schedule import zero_of
from .page import LEAD, SIZE, Page, cut, width_of

__all__ = ["draw_ring"]

Point = tuple[float, float]

INNER, ARROW = 0.72, 1.09  # of the ring's radius
DIGIT = 0.73  # height of a digit, of its size
FITS = 0.92  # of the ring's width, for a number's diagonal
NUMBER = 13.0  # [pt] of the numbers where there is room


def draw_ring(
    page: Page, history: History, left: float, top: float, width: float, height: float
) -> None:
    """Draw the ring into a place of the page [pt].

    Angle 0 is at the top; angles grow clockwise. Mirrored, the joint is the same.
    """
    case, runs = history.case, history.segments
    page.text(
        left,
        top + 9.0,
        "Ring seen along the tube" if case.flange is None else "Ring seen from the torch",
        bold=True,
    )
    room = height - 14.0 - 2.0 * LEAD * SIZE
    radius = 0.5 * min(room - 2.4 * SIZE, width - 2.0 * width_of("270 deg") - 8.0) / ARROW
    centre = left + 0.5 * width, top + 16.0 + LEAD * SIZE + radius * ARROW

    def at(angle: float, far: float) -> Point:
        return (
            centre[0] + far * radius * sin(angle),
            centre[1] - far * radius * cos(angle),
        )

    def along(one: float, other: float, far: float) -> list[Point]:
        return [at(a, far) for a in np.linspace(one, other, ceil(abs(other - one) / 0.05) + 1)]

    count = case.segment_count
    step = 2.0 * pi / count
    laid = {run.number for run in runs}
    for number in range(1, count + 1):
        ends = (number - 1) * step, number * step
        band = [*along(*ends, 1.0), *along(*ends[::-1], INNER)]
        page.shape(band, hatch="" if number in laid else "////", edge=0.8)
    every = ceil(width_of("0" * len(str(len(runs))), bold=True) * 1.3 / (step * 0.86 * radius))
    size = min(NUMBER, max(SIZE, 0.7 * step * 0.86 * radius))
    # between the ring's two lines a number fits whichever way its segment lies
    wide = hypot(width_of("0" * len(str(len(runs))), 1.0, bold=True), DIGIT)
    size = min(size, max(SIZE, FITS * (1.0 - INNER) * radius / wide))
    inside = every == 1 and step * (INNER * radius - 1.1 * SIZE) > 1.1 * width_of(f"s{count}")
    for turn, run in enumerate(runs, start=1):
        _arrow(page, run, along)
        middle = (run.number - 0.5) * step
        # the last numbers must not meet the first
        if (run.number - 1) % every == 0 and run.number - 1 <= max(count - every, 0):
            x, y = at(middle, 0.5 * (1.0 + INNER))
            page.text(x, y + 0.36 * size, f"{turn}", size, bold=True, align="center")
        if inside:
            x, y = at(middle, INNER - 1.1 * SIZE / radius)
            page.text(x, y + 0.36 * SIZE, f"s{run.number}", align="center")
    for tack in case.tacks:
        half = 0.5 * tack.length / case.tube.radius
        page.path(along(tack.angle - half, tack.angle + half, INNER), 4.0)
    for quarter in range(4):
        angle = 0.5 * pi * quarter
        x, y = at(angle, ARROW)
        align = ("center", "left", "center", "right")[quarter]
        x += (0.0, 5.0, 0.0, -5.0)[quarter]
        y += (-6.0, 0.36 * SIZE, 4.0 + 0.8 * SIZE, 0.36 * SIZE)[quarter]
        label = f"{degrees(angle):.0f} deg"
        if quarter == 0:
            label += f", {zero_of(case)[0].removesuffix(' point')}"
        page.text(x, y, label, align=align)
    caption = "Numbers: order of laying" if not case.tacks else "Numbers: order"
    if every > 1:
        caption += f" (1 in {every})"
    caption += ". s: segment." if inside else "."
    if case.tacks:
        caption += " Black: tacks."
    page.text(left, top + height - 0.2 * LEAD * SIZE, cut(caption, width))


Along = Callable[[float, float, float], list[Point]]


def _arrow(page: Page, run: SegmentRun, along: Along) -> None:
    """Draw the arc's way along a segment."""
    way = 1.0 if run.to_angle > run.from_angle else -1.0
    points = along(run.from_angle, run.to_angle - way * 0.02, ARROW)
    page.path(points, 0.9)
    page.dot(points[0])
    page.arrow(points[-2], points[-1], 6.0)
