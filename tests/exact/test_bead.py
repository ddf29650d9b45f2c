"""A whole case file of a test bead against the closed form on the unrolled wall."""

from __future__ import annotations

from math import radians

import numpy as np
import pytest

from exact.errors import Record
from exact.solutions import shell
from exact.solutions.common import Run
from lapheat import read_case, simulate

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


@pytest.fixture(scope="module")
def bead(tmp_path_factory: pytest.TempPathFactory):
    text = CASE
    for angle in ANGLES:
        for height in HEIGHTS:
            text += f"""[[probe]]
name = "at{angle:g}_{height:g}"
on = "tube"
angle = "{angle} deg"
height = "{height} mm"
depth = "0.5 mm"
"""
    path = tmp_path_factory.mktemp("bead") / "bead.toml"
    path.write_text(text)
    return simulate(read_case(path), threads=1)


def test_probes_follow_the_unrolled_wall(bead, record: Record) -> None:
    """Within 2 % of the rise at every probe, heating, pausing and cooling.

    Moving Gaussian on a thin wall closed by images: Carslaw and Jaeger 1959, 10.3 and 10.10.
    """
    case, trace = bead.case, bead.history.trace
    mean = case.tube.radius - 0.5 * case.tube.wall
    # the arc moves at its angular speed; the closed form measures speed on the mean radius
    scale = mean / case.tube.radius
    runs = [
        Run(
            start=radians(90.0 * (s.number - 1)),
            begin=s.start,
            end=s.end,
            speed=case.travel.speed * scale,
            power=case.arc.power,
        )
        for s in bead.history.segments
    ]
    places = [(radians(a), 1e-3 * h) for a in ANGLES for h in HEIGHTS]
    pick = np.linspace(5, len(trace.time) - 1, 40).astype(int)
    exact = shell.moving_gaussian_images(
        [p[0] for p in places],
        [p[1] + 0.5 * case.tube.length for p in places],
        trace.time[pick],
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
    rise = trace.probes[pick] - case.surroundings.temperature
    worst = np.abs(rise - exact).max(axis=0) / exact.max(axis=0)
    assert exact.max(axis=0).min() > 100.0
    record(
        "test bead on a thin tube: segments, pauses, wrap-around",
        "Carslaw and Jaeger 1959, 10.3, 10.10",
        float(worst.max()),
        0.02,
        "of the rise",
    )


def test_bead_heat_closes(bead) -> None:
    heat = bead.history.ledger
    assert abs(heat.imbalance) < 1e-9
    # common practice, no source: heat in is share of volts times amps, times arc time
    assert heat.arc == pytest.approx(0.75 * 10.0 * 30.0 * bead.history.arc_on, rel=1e-12)
