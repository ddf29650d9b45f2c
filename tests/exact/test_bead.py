"""A whole case file of a test bead against the closed form on the unrolled wall."""

from __future__ import annotations

from math import radians

import numpy as np
import pytest
from numpy.typing import NDArray

from exact.errors import Record
from exact.solutions import shell
from exact.solutions.common import Run
from lapheat.api import Result, simulate
from lapheat.case.case import Case
from lapheat.case.file import read_case_text

CASE = """
title = "Test bead, constant properties, no losses"
joint = "bead-on-tube"
[tube]
alloy = "plain"
outside_diameter = "25 mm"
wall = "1 mm"
length = "60 mm"
[arc]
current = "30 A"
voltage = "10 V"
efficiency = 0.75
spot = "1.6 mm"
[travel]
speed = "2.2 mm/s"
segment = "19.7 mm"
pause = "10 s"
coverage = 0.75
[surroundings]
convection = "0 W/(m^2 K)"
bore_convection = "0 W/(m^2 K)"
[numerics]
detail = "standard"
[alloys.plain]
density = "7800 kg/m^3"
conductivity = "25 W/(m K)"
specific_heat = "620 J/(kg K)"
emissivity = 1e-9
"""
HEIGHTS = (4.0, -4.0, 7.0, -7.0, 10.0)  # mm, either side of the path
ANGLES = (45.0, 135.0, 225.0)  # deg, mid-segment


PLACES = [(angle, height) for angle in ANGLES for height in HEIGHTS]


def bead_case() -> Case:
    """Test bead with a probe in the middle of the wall at each of `PLACES`."""
    probes = [
        f'[[probe]]\nname = "at{a:g}_{h:g}"\non = "tube"\nangle = "{a} deg"\n'
        f'height = "{h} mm"\ndepth = "0.5 mm"\n'
        for a, h in PLACES
    ]
    return read_case_text(CASE + "".join(probes), "bead")


def closed_form(result: Result, time: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rise (n, p) at the probes at `time` (n,) [s], on the unrolled wall [K]."""
    case = result.case
    mean = case.tube.radius - 0.5 * case.tube.wall
    runs = [
        Run(
            start=radians(90.0 * (s.number - 1)),
            begin=s.start,
            end=s.end,
            # the arc's angular speed, on the mean radius of the closed form
            speed=case.travel.speed * mean / case.tube.radius,
            power=case.arc.power,
        )
        for s in result.history.segments
    ]
    return shell.moving_gaussian_images(
        [radians(a) for a, _ in PLACES],
        [1e-3 * h + 0.5 * case.tube.length for _, h in PLACES],
        time,
        runs,
        radius=mean,
        wall=case.tube.wall,
        length=case.tube.length,
        seam=0.5 * case.tube.length,
        spot=case.arc.spot,
        k=25.0,
        rho=7800.0,
        c=620.0,
    )


@pytest.fixture(scope="module")
def bead() -> Result:
    return simulate(bead_case(), threads=1)


def test_probes_follow_the_unrolled_wall(bead: Result, record: Record) -> None:
    """Within 2 % of the rise at every probe, heating, pausing and cooling.

    Moving Gaussian on a thin wall closed by images: Carslaw and Jaeger 1959, 10.3 and 10.10.
    """
    trace = bead.history.trace
    pick = np.linspace(5, len(trace.time) - 1, 40).astype(int)
    exact = closed_form(bead, trace.time[pick])
    rise = trace.probes[pick] - bead.case.surroundings.temperature
    worst = np.abs(rise - exact).max(axis=0) / exact.max(axis=0)
    assert exact.max(axis=0).min() > 100.0
    record(
        "test bead on a thin tube: segments, pauses, wrap-around",
        "Carslaw and Jaeger 1959, 10.3, 10.10",
        float(worst.max()),
        0.02,
        "of the rise",
    )


def test_bead_heat_closes(bead: Result) -> None:
    heat = bead.history.ledger
    assert abs(heat.imbalance) < 1e-9
    # common practice, no source: heat in is share of volts times amps, times arc time
    assert heat.arc == pytest.approx(0.75 * 10.0 * 30.0 * bead.history.arc_on, rel=1e-12)
