"""The closed-form solutions themselves: walls, fins, contact, melting, standards' formulas.

Every printed answer in `solutions.tables` is computed again and must agree to half a unit in its
last digit; where more is allowed the reason stands beside it. Further checks come from published
values, from limits in which two solutions must be the same, and from conservation of energy.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import j0

from exact.solutions import (
    contact,
    cooling_time,
    fins,
    lumped,
    plane2d,
    slab,
    steel,
    stefan,
    tables,
)
from exact.solutions.cases import M1
from exact.solutions.common import decay
from exact.solutions.tables import assert_printed, columns

MM = 1e-3


# --- one dimension, steady plane, lumped, fins -------------------------------------------------


def test_wall_with_convection() -> None:
    time, printed = columns(tables.WALL)
    found = slab.wall_convective(
        0.0, time, thickness=1.0, k=1.0, rho=1000.0, c=1.0, h=1.0, start=1000.0, ambient=0.0
    )
    assert_printed(printed, np.stack([found, found], axis=1))


def test_incropera_pipe_wall() -> None:
    # Incropera, Fundamentals of Heat and Mass Transfer, example 5.5 (oil pipe, AISI 1010), from
    # memory: 8 min, inner 42.9, outer 45.2 degC. The book keeps one term and three figures of
    # everything, which is worth 0.2 K.
    found = slab.wall_convective(
        [0.0, 0.04],
        480.0,
        thickness=0.04,
        k=63.9,
        rho=7832.0,
        c=434.0,
        h=500.0,
        start=-20.0,
        ambient=60.0,
    )
    assert found == pytest.approx([42.9, 45.2], abs=0.2)


@pytest.mark.parametrize(
    ("biot", "wall", "rod"),
    [(0.1, (0.3111, 1.0161), (0.4417, 1.0246)), (1.0, (0.8603, 1.1191), (1.2558, 1.2071))],
)
def test_first_mode_of_wall_and_rod(
    biot: float, wall: tuple[float, float], rod: tuple[float, float]
) -> None:
    # Incropera, table 5.1, zeta_1 and C_1 of wall and long cylinder, from memory. At Fourier
    # number 1 the second mode adds less than 1e-4 to the temperature on the axis.
    body = {"k": 1.0, "rho": 1.0, "c": 1.0, "h": biot, "start": 1.0, "ambient": 0.0}
    assert slab.wall_roots(biot, 1)[0] == pytest.approx(wall[0], abs=1e-4)
    assert slab.rod_roots(biot, 1)[0] == pytest.approx(rod[0], abs=1e-4)
    for found, (zeta, weight) in (
        (slab.wall_convective(0.0, 1.0, thickness=1.0, **body), wall),
        (slab.rod_convective(0.0, 1.0, radius=1.0, **body), rod),
    ):
        assert found == pytest.approx(weight * np.exp(-(zeta**2)), abs=2e-4)


def test_rod_starts_uniform_and_cools_as_one_when_thin() -> None:
    body = {"k": 25.0, "rho": 7800.0, "c": 620.0, "start": 800.0, "ambient": 20.0}
    early = slab.rod_convective([0.0, 0.004], 0.05, radius=0.01, h=50.0, **body)
    assert early == pytest.approx([800.0, 800.0], abs=1e-6)
    thin = slab.rod_convective(0.0, 60.0, radius=0.5e-3, h=50.0, **body)
    lone = 20.0 + 780.0 * np.exp(-50.0 * 2.0 * 60.0 / (7800.0 * 620.0 * 0.5e-3))
    assert thin == pytest.approx(lone, rel=2e-3)  # Biot number 0.001


def test_nafems_bars() -> None:
    # The Standard NAFEMS Benchmarks 1990: T2 927.0 K (definition from memory), T3 36.60 degC.
    end = slab.radiating_bar(1000.0, length=0.1, k=55.563, emissivity=0.98, ambient=300.0)
    assert_printed([["927.0", "926.967"]], [end, end])
    bar = {"length": 0.1, "k": 35.0, "rho": 7200.0, "c": 440.5, "amplitude": 100.0}
    found = slab.sine_driven(0.08, 32.0, period=80.0, **bar)
    assert_printed([["36.60", "36.6031"]], [found, found])


def test_nafems_plate() -> None:
    # The Standard NAFEMS Benchmarks 1990, T4: 18.3 degC.
    plate = {"width": 0.6, "height": 1.0, "k": 52.0, "h": 750.0, "bottom": 100.0}
    found = plane2d.convective_plate(0.6, 0.2, **plate)
    assert_printed([["18.3", "18.2538"]], [found, found])


def test_iso_10211_case_1() -> None:
    y, printed = columns(tables.COLUMN)
    x = np.array([15.0, 10.0, 5.0, 0.0])
    found = plane2d.square_column(x, y[:, None], width=20.0, height=40.0, top=20.0)
    assert_printed(printed, found)


@pytest.mark.parametrize("line", tables.rows(tables.LUMPED))
def test_lumped_sheet(line: list[str]) -> None:
    thickness, emissivity, h = (float(word) for word in line[:3])
    sheet = {"thickness": thickness * MM, "rho": 7800.0, "c": 620.0, "ambient": 293.15}
    ends = [1073.15, 773.15, 573.15, 423.15]
    found = [lumped.cooling_time(1373.15, end, h=h, emissivity=emissivity, **sheet) for end in ends]
    assert_printed([line[3:]], found)
    if h == 0.0:
        closed = [
            lumped.radiation_cooling_time(1373.15, end, emissivity=emissivity, **sheet)
            for end in ends
        ]
        assert closed == pytest.approx(found, rel=1e-9)


def test_fins() -> None:
    rise, heat = fins.sheet_with_tip_loss(
        np.array([10.0, 20.0, 40.0]) * MM, length=0.04, thickness=1.2 * MM, k=20.0, h=35.0, base=300
    )
    assert_printed([["178.998", "111.485", "66.182", "379.275"]], [*rise, heat])
    time, printed = columns(tables.HEATED_EDGE)
    found = fins.heated_edge(
        np.array([0.0, 10.0, 40.0]) * MM,
        time[:, None],
        length=0.04,
        thickness=1.2 * MM,
        h=35.0,
        flux=400.0,
        **M1,
    )
    assert_printed(printed, found)


def test_long_rod_fins_of_incropera() -> None:
    # Incropera, example 3.9, from memory: rods of 5 mm, 75 K above the air, h = 100: copper (398)
    # 8.3 W, aluminium (180) 5.6 W, stainless (14) 1.6 W. A rod is a tube filled to its axis.
    for k, heat in ((398.0, "8.3"), (180.0, "5.6"), (14.0, "1.6")):
        rod = fins.tube_conductance(
            1.25 * MM, wall=2.5 * MM, length=2.0, k=k, h_total=100.0 * 2.5 / 1.25
        )
        assert_printed([[heat]], [75.0 * rod])


def test_tube_on_flange_network() -> None:
    flange = fins.annular_conductance(0.012, 0.040, thickness=2.0 * MM, k=20.0, h=30.0)
    tube = fins.tube_conductance(11.5 * MM, wall=1.0 * MM, length=0.06, k=20.0, h_total=45.0)
    both = flange + tube
    assert_printed(
        [["0.16420", "0.06809", "258.30", "29.31", "70.69"]],
        [flange, tube, 60.0 / both, 100.0 * tube / both, 100.0 * flange / both],
    )


# --- contact -------------------------------------------------------------------------------------

HOT = contact.Body(20.0, 7900.0, 520.0, 900.0)
COLD = contact.Body(45.0, 7850.0, 480.0, 20.0)


@pytest.mark.parametrize("line", tables.rows(tables.HALF_SPACES))
def test_two_thick_bodies(line: list[str]) -> None:
    one, two, flux = contact.half_spaces(
        [5.0 * MM, 0.0], float(line[1]), one=HOT, two=COLD, conductance=float(line[0])
    )
    assert_printed([line[2:]], [one[0], one[1], two[1], two[0], flux / 1000.0])


@pytest.mark.parametrize("line", tables.rows(tables.TWO_LAYERS))
def test_two_layers(line: list[str]) -> None:
    one, two = contact.two_layers(
        np.array([0.0, 1.2, 3.0]) * MM,
        float(line[1]),
        one=HOT,
        two=COLD,
        thickness=(1.2 * MM, 3.0 * MM),
        conductance=float(line[0]),
    )
    assert_printed([line[2:]], [one[1], one[0], two[0], two[2]])


def test_two_layers_limits() -> None:
    layers = {"one": HOT, "two": COLD, "thickness": (1.2 * MM, 3.0 * MM), "conductance": 1500.0}
    late = contact.two_layers(0.0, 1000.0, **layers)
    assert_printed([["287.226", "287.226"]], late)  # all heat evenly shared
    # Equal halves, one as hot as the other is cold, welded: a cosine series about the mean.
    hot, cold = contact.Body(20.0, 7900.0, 520.0, 1.0), contact.Body(20.0, 7900.0, 520.0, -1.0)
    welded = contact.two_layers(
        0.001, 0.1, one=hot, two=cold, thickness=(0.002, 0.002), conductance=1e9
    )
    n = 2 * np.arange(60) + 1
    wave = np.sin(n * np.pi / 4.0) * decay((n * np.pi / 0.004) ** 2 * hot.diffusivity * 0.1)
    assert welded[0] == pytest.approx(np.sum(4.0 / (n * np.pi) * wave), abs=1e-5)
    assert welded[1] == pytest.approx(-welded[0], abs=1e-9)


def test_lap_of_two_sheets() -> None:
    conductance, printed = columns(tables.LAP)
    found = []
    for value in conductance:
        one, two, (left, right) = contact.lap_steady(
            [0.010, 0.005, 0.0],
            thickness=(1.0 * MM, 2.0 * MM),
            k=(20.0, 22.0),
            overlap=0.010,
            h=40.0,
            conductance=value,
            heat=5000.0,
        )
        found.append([*one, *two, left / 50.0, right / 50.0])
    assert_printed(printed, found)


# --- melting -------------------------------------------------------------------------------------


def test_melting_at_one_temperature() -> None:
    melt = stefan.neumann(
        k_solid=26.0,
        c_solid=650.0,
        k_liquid=30.0,
        c_liquid=790.0,
        rho=7500.0,
        latent=2.7e5,
        melting=1450.0,
        start=25.0,
        face=1600.0,
    )
    assert_printed([["0.095095"]], melt.fronts / (2.0 * np.sqrt(melt.diffusivity[0])))
    time, printed = columns(tables.NEUMANN)
    depth = np.array([2.0, 5.0, 10.0, 20.0]) * MM
    found = [[*(melt.front(t) / MM), *melt.temperature(depth, t)] for t in time]
    assert_printed(printed, found)


STEEL = stefan.melting_over_range(
    k=(30.0, 28.0, 26.0),
    c=(790.0, 700.0, 650.0),
    rho=7500.0,
    latent=2.7e5,
    solidus=1400.0,
    liquidus=1455.0,
    start=25.0,
    face=1600.0,
)
BRONZE = stefan.melting_over_range(
    k=(40.0, 36.0, 36.0),
    c=(480.0, 430.0, 380.0),
    rho=8530.0,
    latent=2.1e5,
    solidus=971.0,
    liquidus=1027.0,
    start=25.0,
    face=1080.0,
)


@pytest.mark.parametrize(
    ("melt", "block"), [(STEEL, tables.RANGE_STEEL), (BRONZE, tables.RANGE_BRONZE)]
)
def test_melting_over_a_range(melt: stefan.Similarity, block: str) -> None:
    time, printed = columns(block)
    depth = np.array([2.0, 5.0, 10.0, 20.0])[: len(printed[0]) - 2] * MM
    found = [[*(melt.front(t) / MM), *melt.temperature(depth, t)] for t in time]
    assert_printed(printed, found)


def test_narrow_range_tends_to_one_temperature() -> None:
    melt = {"rho": 7500.0, "latent": 2.7e5, "start": 25.0, "face": 1600.0}
    sharp = stefan.neumann(
        k_solid=26.0, c_solid=650.0, k_liquid=30.0, c_liquid=790.0, melting=1450.0, **melt
    )
    narrow = stefan.melting_over_range(
        k=(30.0, 28.0, 26.0), c=(790.0, 700.0, 650.0), solidus=1449.9, liquidus=1450.1, **melt
    )
    assert narrow.fronts == pytest.approx(np.repeat(sharp.fronts, 2), rel=2e-3)


def test_travelling_source_with_latent_heat() -> None:
    def enthalpy(temperature: np.ndarray) -> np.ndarray:
        share = np.clip((temperature - 1400.0) / 55.0, 0.0, 1.0)
        return steel.stainless_enthalpy(temperature) + 2.6e5 * share

    flux, printed = columns(tables.TRAVELLING)
    found = []
    for value in flux:
        profile, plateau = stefan.travelling_source(
            np.array([-6.0, -2.0, 0.0, 2.0, 4.0, 6.0]) * MM,
            flux=value * 1e6,
            speed=2.0 * MM,
            spot=2.0 * MM,
            rho=7900.0,
            conductivity=steel.stainless_conductivity,
            enthalpy=enthalpy,
            start=20.0,
        )
        found.append([*profile, plateau])
    assert_printed(printed, found)


# --- standards' formulas -------------------------------------------------------------------------


@pytest.mark.parametrize("line", tables.rows(tables.COOLING))
def test_cooling_time_formulas(line: list[str]) -> None:
    heat, thickness, preheat = (float(word) for word in line[:3])
    thin = cooling_time.en_thin(heat, thickness, preheat)
    thick = cooling_time.en_thick(heat, preheat)
    line_source = cooling_time.line_source(heat * 1e6, thickness * MM, preheat, 45.0, 4.9e6)
    assert_printed([line[3:]], [thin, thick, line_source])
    edge = cooling_time.transition_thickness(heat, preheat)
    assert (thin > thick) == (thickness < edge)
    assert cooling_time.en_thin(heat, edge, preheat) == pytest.approx(thick)


def test_cooling_time_check_values() -> None:
    # EN 1011-2 annex D, worked from its formulas: 3-D, 2-D, transition thickness at 1 kJ/mm; TIG
    # 100 A, 12 V, 2 mm/s on 6 mm plain, as a lap fillet (F2 0.7) and at 0.45; on 3 mm; preheated.
    q = cooling_time.heat_input(12.0, 100.0, 2.0)
    assert_printed(
        [["5.288", "11.364", "14.659", "0.360", "4.091", "2.864", "1.841", "16.364", "16.290"]],
        [
            cooling_time.en_thick(1.0, 20.0),
            cooling_time.en_thin(1.0, 10.0, 20.0),
            cooling_time.transition_thickness(1.0, 20.0),
            q,
            cooling_time.en_thin(q, 6.0, 20.0),
            cooling_time.en_thin(q, 6.0, 20.0, 0.7),
            cooling_time.en_thin(q, 6.0, 20.0, 0.45),
            cooling_time.en_thin(q, 3.0, 20.0),
            cooling_time.en_thin(1.0, 10.0, 100.0),
        ],
    )
    # The lap fillet of the worked example is thin plate (F3 0.67).
    edge = cooling_time.transition_thickness(q, 20.0, 0.7, 0.67)
    assert_printed([["8.99", "1.28"]], [edge, cooling_time.en_thick(q, 20.0, 0.67)])


def test_steel_formulas_join_as_the_standard_has_them() -> None:
    # EN 1993-1-2:2005: c is continuous at 735 degC, steps up 0.30 at 600 and down 0.44 at 900;
    # conductivities of stainless and carbon steel are both 27.3 at 1000 degC. Values at 20 degC.
    def step(at: float) -> float:
        low, high = steel.carbon_specific_heat([at - 1e-7, at + 1e-7])
        return float(high - low)

    assert_printed([["0.00", "0.30", "-0.44"]], [step(735.0), step(600.0), step(900.0)])
    assert_printed(
        [["53.334", "439.802", "14.854"]],
        [
            steel.carbon_conductivity(20.0),
            steel.carbon_specific_heat(20.0),
            steel.stainless_conductivity(20.0),
        ],
    )
    both = [steel.carbon_conductivity(1000.0), steel.stainless_conductivity(1000.0)]
    assert both == pytest.approx([27.3, 27.3])
    slope = steel.stainless_enthalpy(700.5) - steel.stainless_enthalpy(699.5)
    assert slope == pytest.approx(float(steel.stainless_specific_heat(700.0)), rel=1e-6)


def test_rod_profile_is_the_first_bessel_mode_late_on() -> None:
    body = {"k": 25.0, "rho": 7800.0, "c": 620.0, "start": 1.0, "ambient": 0.0}
    centre, edge = slab.rod_convective([0.0, 0.01], 60.0, radius=0.01, h=2500.0, **body)
    zeta = slab.rod_roots(1.0, 1)[0]
    assert edge / centre == pytest.approx(j0(zeta), rel=1e-9)
