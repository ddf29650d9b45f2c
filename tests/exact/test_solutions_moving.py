"""The closed-form solutions themselves: moving sources on blocks, sheets, plates and tubes.

As test_solutions: printed answers to half a unit in the last digit, then limits and energy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.special import jv, jvp, yv, yvp

from exact.solutions import kirchhoff, moving, radiating, shell, slab, spectral3d, tables
from exact.solutions.cases import (
    CYLINDER,
    CYLINDER_PROBES,
    M1,
    PLATE,
    PLATE_RUNS,
    SHELL,
    TUBE_PROBES,
    quarter_runs,
    quarter_times,
)
from exact.solutions.common import Run
from exact.solutions.tables import assert_printed, columns

MM = 1e-3


# --- moving sources, flat ------------------------------------------------------------------------

THICK = {"power": 600.0, "speed": 2.0 * MM, **M1}


def test_standing_spot() -> None:
    time, printed = columns(tables.SPOT)
    assert_printed(printed, moving.spot_centre(time, power=300.0, spot=1.6 * MM, **M1))
    # The moving solution at zero speed, and a point source far from a slow small spot.
    still = moving.eagar_tsai(0.0, 0.0, 0.0, 3.0, power=300.0, speed=0.0, spot=1.6 * MM, **M1)
    assert_printed([["1229.59"]], still)


def test_moving_gaussian_on_a_thick_body() -> None:
    lines = tables.rows(tables.EAGAR_TSAI)
    place = np.array([[float(word) for word in line[:3]] for line in lines]).T * MM
    found = [moving.eagar_tsai(*place, t, spot=1.6 * MM, **THICK) for t in (1.0, 5.0, np.inf)]
    assert_printed([line[3:] for line in lines], np.array(found).T)

    def surface(xi: float, y: float) -> float:
        return float(moving.eagar_tsai(xi, y, 0.0, spot=1.6 * MM, **THICK))

    width, at = moving.isotherm_half_width(
        surface, 1000.0, behind=-3.0 * MM, ahead=1.0 * MM, far=10.0 * MM
    )
    assert_printed([["3.0290", "-0.721"]], [width / MM, at / MM])


def test_small_spot_is_a_point_source() -> None:
    place = np.array([[-8.0, 1.0, 3.0], [2.0, 5.0, 0.0], [1.0, 2.0, 4.0]]) * MM
    point = moving.point_source(*place, **THICK)
    assert moving.eagar_tsai(*place, spot=0.02 * MM, **THICK) == pytest.approx(point, rel=2e-3)


def test_line_source_through_a_sheet() -> None:
    sheet = {"thickness": 1.5 * MM, "loss": 150.0, **THICK}
    lines = tables.rows(tables.LINE_SOURCE)
    place = np.array([[float(word) for word in line[:2]] for line in lines]).T * MM
    assert_printed([line[2:] for line in lines], moving.line_source_sheet(*place, **sheet))

    def rise(xi: float, y: float) -> float:
        return float(moving.line_source_sheet(xi, y, **sheet))

    level, printed = columns(tables.LINE_SOURCE_WIDTH)
    found = [
        moving.isotherm_half_width(rise, value, behind=-60 * MM, ahead=-1 * MM, far=50 * MM)
        for value in level
    ]
    assert_printed(printed, np.array(found) / MM)


def test_moving_gaussian_on_a_sheet() -> None:
    time, printed = columns(tables.SHEET)
    x, y = np.array([[10.0, 20.0, 20.0, 10.0, 0.0], [0.0, 0.0, 4.0, 8.0, 3.0]]) * MM
    sheet = {"thickness": 1.2 * MM, "loss": 60.0, **M1}
    run = Run(0.0, 0.0, 8.0, 2.5 * MM, 350.0)
    assert_printed(printed, moving.sheet_gaussian(x, y, time, [run], spot=1.6 * MM, **sheet))
    # A long run of a small spot settles to the steady line source.
    long = Run(0.0, 0.0, 200.0, 2.5 * MM, 350.0)
    settled = moving.sheet_gaussian([0.49], [0.006], 200.0, [long], spot=0.1 * MM, **sheet)
    steady = moving.line_source_sheet(-0.01, 0.006, power=350.0, speed=2.5 * MM, **sheet)
    assert settled[0, 0] == pytest.approx(float(steady), rel=1e-3)


def test_plate_of_finite_thickness() -> None:
    time, printed = columns(tables.PLATE)
    x = np.array([20.0, 20.0, 20.0, 28.0, 40.0]) * MM
    y = np.array([15.0, 15.0, 19.0, 12.0, 20.0]) * MM
    z = np.array([0.0, 1.5, 0.75, 1.5, 0.0]) * MM
    found = spectral3d.plate(x, y, z, time, PLATE_RUNS, **PLATE)
    assert_printed(printed, found)
    finer = spectral3d.plate(x, y, z, time, PLATE_RUNS, **PLATE, count=18)
    assert found == pytest.approx(finer, abs=1e-7)


# --- tubes ---------------------------------------------------------------------------------------

TUBE_RUNS = quarter_runs(SHELL["radius"])
TUBE_TIMES = quarter_times(TUBE_RUNS, 120.0)
CYLINDER_RUNS = quarter_runs(CYLINDER["outer_radius"])


def test_thin_tube_by_images() -> None:
    time, printed = columns(tables.SHELL)
    assert pytest.approx(time, abs=5e-4) == TUBE_TIMES
    found = shell.moving_gaussian_images(
        *TUBE_PROBES, TUBE_TIMES, TUBE_RUNS, loss=45, **SHELL, **M1
    )
    assert_printed(printed, found)
    area = 2.0 * np.pi * SHELL["radius"] * SHELL["length"]
    wall = {"wall": SHELL["wall"], "rho": M1["rho"], "c": M1["c"]}
    mean = shell.mean_rise(TUBE_TIMES, TUBE_RUNS, area=area, loss=45.0, **wall)
    assert_printed([tables.SHELL_MEAN.split()], mean)
    # Energy: the images' field, averaged over the tube, is that mean (smooth, so the midpoint
    # rule is exact to round-off on this grid).
    phi, z = np.meshgrid(
        np.arange(96) * 2.0 * np.pi / 96, (np.arange(80) + 0.5) / 80 * SHELL["length"]
    )
    field = shell.moving_gaussian_images(phi, z, 30.0, TUBE_RUNS, loss=45.0, **SHELL, **M1)
    assert field.mean() == pytest.approx(
        shell.mean_rise(30.0, TUBE_RUNS, area=area, loss=45.0, **wall)[0], rel=1e-9
    )


def test_thin_tube_with_both_properties_rising() -> None:
    time, printed = columns(tables.KIRCHHOFF)
    pick = [int(np.argmin(np.abs(TUBE_TIMES - t))) for t in time]
    body = {"k": 15.0, "rho": 7800.0, "c": 500.0}
    linear = shell.moving_gaussian_images(
        *TUBE_PROBES, TUBE_TIMES[pick], TUBE_RUNS, **SHELL, **body
    )
    found = kirchhoff.rise_from_linear(linear[:, [0, 2, 3, 5]], 6e-4)
    assert_printed(printed, found)
    assert kirchhoff.linear_from_rise(found, 6e-4) == pytest.approx(linear[:, [0, 2, 3, 5]])


def test_radiating_tube() -> None:
    time, printed = columns(tables.RADIATING)
    tube = {**SHELL, **M1}
    # Films 10 + 5, emissivities 0.45 + 0.30 of outside and inside, seen together.
    film = radiating.grey_film(15.0, 0.75, 293.15)
    times = np.append(TUBE_TIMES, 300.0)
    found = 20.0 + radiating.thin_tube(*TUBE_PROBES, times, TUBE_RUNS, lost=film, **tube)
    # Under the burning arc (> 1600 degC) the table is low by 0.02 to 0.034 K: halving our step
    # moves those values by 0.005 K, upward, and a finer grid not at all, so the error is the
    # table's. Everywhere else it holds to its last digit (one value, 335.9650, sits on the edge
    # of rounding: hence 1e-4).
    hot = found > 1600.0
    assert_printed(printed, np.where(hot, np.array(printed, float), found), slack=1e-4)
    assert found[hot] == pytest.approx(np.array(printed, float)[hot], abs=0.04)
    assert time[:-1] == pytest.approx(TUBE_TIMES, abs=5e-4)


def test_radiating_tube_converges_and_knows_the_linear_case() -> None:
    tube = {**SHELL, **M1}
    early = TUBE_TIMES[:3]
    film = radiating.grey_film(15.0, 0.75, 293.15)
    coarse, medium, fine = (
        radiating.thin_tube(*TUBE_PROBES, early, TUBE_RUNS, lost=film, step=step, **tube)
        for step in (0.2, 0.1, 0.05)
    )
    assert np.abs(fine - medium).max() < 0.15 * np.abs(medium - coarse).max()
    assert np.abs(fine - medium).max() < 0.005
    linear = radiating.thin_tube(
        *TUBE_PROBES, TUBE_TIMES, TUBE_RUNS, lost=lambda rise: 45.0 * rise, step=0.2, **tube
    )
    images = shell.moving_gaussian_images(*TUBE_PROBES, TUBE_TIMES, TUBE_RUNS, loss=45.0, **tube)
    assert linear == pytest.approx(images, abs=2e-3)


def test_hollow_cylinder() -> None:
    time, printed = columns(tables.CYLINDER)
    times = quarter_times(CYLINDER_RUNS, 120.0)
    assert times == pytest.approx(time, abs=6e-4)
    found = spectral3d.hollow_cylinder(*CYLINDER_PROBES, times, CYLINDER_RUNS, **CYLINDER)
    assert_printed(printed, found)
    finer = spectral3d.hollow_cylinder(
        *CYLINDER_PROBES, times[:2], CYLINDER_RUNS, **CYLINDER, count=18
    )
    assert found[:2] == pytest.approx(finer, abs=1e-7)


@pytest.mark.parametrize("line", tables.rows(tables.CYLINDER_PEAKS))
def test_hollow_cylinder_peaks(line: list[str]) -> None:
    angle, height, depth, _, guess = (float(word) for word in line)
    end = CYLINDER_RUNS[0].end
    stop = end if guess == pytest.approx(end, abs=1e-3) else np.inf  # the arc dies at that probe
    times = np.minimum(guess + 0.06 * np.cos(np.pi * np.arange(11) / 10), stop)
    if np.isfinite(stop):
        times = stop - 0.06 * (1.0 - np.cos(np.pi * np.arange(11) / 10))
    point = (np.radians(angle), height * MM, depth * MM)
    rise = spectral3d.hollow_cylinder(*point, times, CYLINDER_RUNS, **CYLINDER)[:, 0]
    curve = np.polynomial.Chebyshev.fit(times, rise, 10)
    turning = curve.deriv().roots()
    real = turning[np.abs(turning.imag) < 1e-9].real
    inside = real[(real > times.min()) & (real < times.max())]
    best = max([*inside, times.max()], key=lambda t: float(curve(t)))
    assert_printed([line[3:]], [curve(best), best])


@pytest.mark.parametrize("line", tables.rows(tables.CYLINDER_WIDTHS))
def test_hollow_cylinder_isotherm_widths(line: list[str]) -> None:
    # The table holds twice the extent on the side of the longer half (z > 20 mm). The nearer
    # insulated end makes the other side wider, so the whole width is up to 0.13 mm more. Its last
    # digit carries straight-line interpolation (on 0.2 mm it gives the table's 8.697 where the
    # curve gives 8.6964): hence 1 micrometre more than rounding.
    run = CYLINDER_RUNS[int(line[0]) - 1]
    height = np.linspace(12.0, 28.0, 129)
    twice, whole = [], []
    for level, depth, behind in (
        (1000.0, 0.0, (17.0, 28.0)),
        (1000.0, 1.0, (17.0, 28.0)),
        (1380.0, 0.0, (8.0, 15.0)),
        (1380.0, 1.0, (9.0, 16.0)),
    ):
        angle = run.start + np.radians(90.0 - np.linspace(*behind, 23))
        grid = np.meshgrid(angle, height * MM, indexing="ij")
        flat = spectral3d.hollow_cylinder(*grid, depth * MM, run.end, CYLINDER_RUNS, **CYLINDER)
        edges = [
            CubicSpline(height, row - level).roots(extrapolate=False)[[0, -1]]
            for row in flat.reshape(grid[0].shape)
        ]
        twice.append(max(2.0 * (high - 20.0) for _, high in edges))
        whole.append(max(high - low for low, high in edges))
    assert_printed([line[1:]], twice, slack=0.001)
    assert np.all(np.array(whole) > np.array(twice))


@pytest.mark.parametrize("order", [0, 1, 7, 25])
def test_modes_through_a_tube_wall_are_bessel_functions(order: int) -> None:
    outer, inner = CYLINDER["outer_radius"], CYLINDER["outer_radius"] - CYLINDER["wall"]
    square, _ = spectral3d.wall_modes(
        0.0,
        thickness=CYLINDER["wall"],
        h_source=CYLINDER["h_outside"],
        h_far=CYLINDER["h_inside"],
        k=CYLINDER["k"],
        outer_radius=outer,
        orders=order,
    )
    # Carslaw and Jaeger 1959, section 7.10: the film conditions at both radii have a common
    # solution in J_n and Y_n only where this determinant is zero.
    for mu in np.sqrt(square[0, :4]):
        out = CYLINDER["h_outside"] / CYLINDER["k"]
        into = CYLINDER["h_inside"] / CYLINDER["k"]
        a = mu * jvp(order, mu * outer) + out * jv(order, mu * outer)
        b = mu * yvp(order, mu * outer) + out * yv(order, mu * outer)
        c = mu * jvp(order, mu * inner) - into * jv(order, mu * inner)
        d = mu * yvp(order, mu * inner) - into * yv(order, mu * inner)
        assert abs(a * d - b * c) < 1e-6 * (abs(a * d) + abs(b * c))


def test_modes_through_a_flat_wall_are_cosines() -> None:
    square, shape = spectral3d.wall_modes(0.01, thickness=0.01, h_source=2000, h_far=0.0, k=20.0)
    zeta = slab.wall_roots(2000.0 * 0.01 / 20.0, 4)
    assert np.sqrt(square[0, :4]) * 0.01 == pytest.approx(zeta, rel=1e-6)
    ratio = shape[0, :4, 0] / shape[0, :4, 1]  # heated face over insulated face
    assert ratio == pytest.approx(np.cos(zeta), rel=1e-4)


def test_wide_thin_tube_is_the_thin_shell() -> None:
    # A wall of 0.1 mm is one temperature through; radius and spot as large as before.
    runs = quarter_runs(12e-3, power=23.0)
    tube = {"length": 60e-3, "seam": 20e-3, "wall": 0.1e-3, **M1}
    solid = spectral3d.hollow_cylinder(
        TUBE_PROBES[0],
        TUBE_PROBES[1],
        0.05e-3,
        TUBE_TIMES,
        runs,
        outer_radius=12.05e-3,
        spot=1.6e-3 * 12.05 / 12.0,
        h_outside=0.0,
        h_inside=0.0,
        **tube,
    )
    # Spot and speed are measured outside there, on the mean radius here.
    slower = [Run(r.start, r.begin, r.end, r.speed * 12.0 / 12.05, r.power) for r in runs]
    thin = shell.moving_gaussian_images(
        *TUBE_PROBES, TUBE_TIMES, slower, radius=12e-3, spot=1.6e-3, **tube
    )
    assert solid == pytest.approx(thin, rel=2e-3, abs=1.0)


def test_ring_sources() -> None:
    time, printed = columns(tables.RING_SHEET)
    sheet = {"ring": 15.0 * MM, "thickness": 2.0 * MM, "spot": 2.0 * MM, "loss": 60.0, **M1}
    r = np.array([0.0, 8.0, 15.0, 20.0, 30.0]) * MM
    assert_printed(printed, shell.ring_on_sheet(r, time, power=400.0, duration=12.0, **sheet))
    time, printed = columns(tables.RING_TUBE)
    tube = {"radius": 12.0 * MM, "wall": 1.0 * MM, "spot": 1.6 * MM, "loss": 45.0, **M1}
    z = np.array([0.0, 3.0, 8.0, 15.0, 30.0]) * MM
    assert_printed(printed, shell.ring_on_tube(z, time, power=230.0, duration=20.0, **tube))


def test_instant_ring_keeps_its_energy_and_starts_as_a_blurred_circle() -> None:
    sheet = {"ring": 15.0 * MM, "thickness": 2.0 * MM, "spot": 1.0 * MM, **M1}
    r = (np.arange(4000) + 0.5) * 0.03 * MM
    heat = M1["rho"] * M1["c"] * 2.0 * MM
    for t in (0.0, 5.0):
        rise = shell.instant_ring_on_sheet(r, t, energy=100.0, **sheet)
        held = np.sum(rise * 2.0 * np.pi * r) * 0.03 * MM * heat
        assert held == pytest.approx(100.0, rel=1e-6)
    start = shell.instant_ring_on_sheet([15.0 * MM], 0.0, energy=100.0, **sheet)
    flat = 100.0 / (heat * 2.0 * np.pi * 15.0 * MM * np.sqrt(2.0 * np.pi) * 1.0 * MM)
    assert start == pytest.approx(flat, rel=1e-3)
