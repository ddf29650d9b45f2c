"""The lap's hot clearance against closed forms of how a tube and a bored plate grow."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.integrate import solve_bvp

from exact.errors import Record
from lapheat.case.file import read_case_text
from lapheat.constants import STEFAN_BOLTZMANN
from lapheat.joint.section import Region
from lapheat.march.state import State
from lapheat.problem.setup import problem_of

ZERO = 273.15
COLD = 0.05e-3  # [m]

CASE = """
[tube]
alloy = "{tube}"
outside_diameter = "25 mm"
wall = "1 mm"
length = "40 mm"
[flange]
alloy = "{flange}"
thickness = "5 mm"
outside_diameter = "80 mm"
[lap]
clearance = "0.05 mm"
[fillet]
leg = "2 mm"
[arc]
current = "60 A"
[travel]
speed = "2 mm/s"
segment = "20 mm"
pause = "5 s"
[numerics]
detail = "coarse"
[alloys.growing]
density = "7900 kg/m^3"
conductivity = "20 W/(m K)"
specific_heat = "500 J/(kg K)"
emissivity = 0.5
expansion = "15 um/(m K)"
[alloys.stiff]
density = "7900 kg/m^3"
conductivity = "20 W/(m K)"
specific_heat = "500 J/(kg K)"
emissivity = 0.5
"""


def state_of(tube: str, flange: str) -> State:
    return State(problem_of(read_case_text(CASE.format(tube=tube, flange=flange), "gap")))


def gap(state: State, *parts: tuple[int, NDArray[np.float64] | float]) -> float:
    """Radial gap [m] with each region at its temperatures [K]."""
    p = state.problem
    for region, kelvin in parts:
        cells = p.mesh.section.region == region
        alloy = p.alloys[p.grid.alloy[np.flatnonzero(cells)[0]]]
        state.h[cells] = alloy.enthalpy(np.asarray(kelvin))
    state.refresh()
    state.observe()
    state.fill_lap()
    return state.gap


@pytest.mark.parametrize(("bore", "closes"), [(1000.0, 0.1339e-3), (600.0, 0.2689e-3)])
def test_hot_tube_in_a_steel_bore(bore: float, closes: float, record: Record) -> None:
    """304 in steel, 25 mm, the tube at 1000 degC: the diametral gap closes by these, cold to hot.

    Strains of EN 1993-1-2 (clause 3.4.1.1 and annex C, read in transcription) times 25 mm. The
    bore is a clearance wider than the tube, and that clearance grows too.
    """
    state = state_of("304", "low-carbon steel")
    hot = gap(state, (Region.TUBE, 1000.0 + ZERO), (Region.FLANGE, bore + ZERO))
    strain = state.problem.alloys[1].expansion
    assert strain is not None
    own = COLD * strain(bore + ZERO)
    error = abs(2.0 * (COLD + own - hot) - closes) * 1e6
    check = f"hot clearance, 304 tube of 25 mm at 1000 degC, steel bore at {bore:.0f} degC"
    record(check, "EN 1993-1-2 strains", error, 0.05, "um of the diameter")  # as printed
    assert state.smallest_gap == hot < 0.0


def test_equal_parts_keep_their_gap() -> None:
    """Of one alloy and as hot as each other, tube, bore and gap grow alike."""
    state = state_of("304", "304")
    strain = state.problem.alloys[0].expansion
    assert strain is not None
    hot = gap(state, (Region.TUBE, 900.0), (Region.FLANGE, 900.0))
    assert hot == pytest.approx(COLD * (1.0 + strain(900.0)), rel=1e-9)


def test_at_room_temperature_the_gap_is_the_cold_one() -> None:
    state = state_of("304", "low-carbon steel")
    assert state.gap == pytest.approx(COLD, abs=1e-12)


def bore_growth(a: float, b: float, strain: float, poisson: float = 0.3) -> float:
    """Growth of the bore of a free plate of radii a and b at strain * (b - r) / (b - a) [m].

    Plane stress, solved as a boundary value problem: ``u'' + u'/r - u/r^2 = (1 + nu) e'`` with
    no radial stress at either edge, ``u' + nu u/r = (1 + nu) e``.
    """

    def slope(r: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        step = -strain / (b - a)
        return np.array([y[1], (1.0 + poisson) * step - y[1] / r + y[0] / r**2])

    def edges(one: NDArray[np.float64], two: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.array(
            [
                one[1] + poisson * one[0] / a - (1.0 + poisson) * strain,
                two[1] + poisson * two[0] / b,
            ]
        )

    r = np.linspace(a, b, 50)
    found = solve_bvp(slope, edges, r, np.zeros((2, 50)), tol=1e-8)
    assert found.success
    return float(found.y[0, 0])


def test_the_bore_of_a_plate_hot_at_its_bore(record: Record) -> None:
    """The elastic plate's own equations, solved apart; the tube stays cold."""
    state = state_of("growing", "growing")
    p = state.problem
    a, b, hottest = 12.5e-3, 40.0e-3, 800.0
    flange = p.mesh.section.region == Region.FLANGE
    corners = p.mesh.section.vertices[p.mesh.section.cells[flange]]
    low, high = corners[:, :, 0].min(axis=1), corners[:, :, 0].max(axis=1)
    # of a ring of constant thickness, T linear in r: exact mean of each cell
    middle = 2.0 / 3.0 * (high**3 - low**3) / (high**2 - low**2)
    rise = hottest * (b - middle) / (b - a)
    turn = np.cos(p.mesh.layer_angles())  # which adds nothing to the mean
    hot = gap(state, (Region.FLANGE, 293.15 + rise[:, None] * (1.0 + 0.5 * turn)))
    expected = bore_growth(a, b, 15e-6 * hottest) * (a + COLD) / a
    error = 100.0 * abs(hot - COLD - expected) / expected
    source = "plane stress, boundary value problem"
    record("hot clearance, bore of a plate hot at its bore", source, error, 0.001, "%")
    # far less than the bore's own wall would grow alone
    assert hot - COLD < 0.5 * a * 15e-6 * hottest


def test_a_hot_stretch_of_tube_counts_by_its_share_of_the_ring() -> None:
    state = state_of("growing", "growing")
    layers = state.problem.mesh.layers
    hot = np.where(np.arange(layers) < layers // 4, 1000.0, 0.0)
    expected = 12.5e-3 * 15e-6 * hot.mean()
    cells = state.problem.mesh.section.region == Region.TUBE
    found = gap(state, (Region.TUBE, np.repeat(293.15 + hot[None], cells.sum(), axis=0)))
    assert COLD - found == pytest.approx(expected, rel=1e-6)


def test_without_an_expansion_the_gap_stays_cold() -> None:
    state = state_of("stiff", "low-carbon steel")
    assert gap(state, (Region.TUBE, 1200.0), (Region.FLANGE, 1200.0)) == COLD


def test_the_smallest_gap_conducts_a_finite_heat() -> None:
    """A shut lap conducts through argon as wide as the roughness, here 10 um, and radiates.

    0.10 mm of argon at 1300 K: 518 W/(m2 K) (CoolProp, argon at 1 bar), so 10 um ten times that.
    """
    state = state_of("304", "low-carbon steel")
    assert gap(state, (Region.TUBE, 1300.0), (Region.FLANGE, 293.15)) < 0.0
    gap(state, (Region.TUBE, 1300.0), (Region.FLANGE, 1300.0))  # the gas is as hot
    radiation = 4.0 * STEFAN_BOLTZMANN * state.problem.lap.emissivity * 1300.0**3
    assert 1.0 / state.contact == pytest.approx(5180.0 + radiation, rel=1e-3)
