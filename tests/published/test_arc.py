"""The arc: its Gaussian against the textbook one, its defaults against what was measured."""

from __future__ import annotations

import numpy as np
import pytest

from exact.build import Part, fixed, lines
from exact.errors import Record
from lapheat.march.state import State
from lapheat.problem.assemble import aim_torch
from published.beads import bead, source

MM = 1e-3
POWER, SPOT = 1050.0, 2.0 * MM
REACH = 6.5 * SPOT


@pytest.fixture(scope="module")
def flux() -> tuple[np.ndarray, np.ndarray, float]:
    """Flux of an arc square to a plane plate [W/m2], distance from its axis [m], face area [m2]."""
    count = 260  # faces of a twentieth of the spot
    size = 2.0 * REACH / count
    part = Part.swept((lines(0.0, MM, 1), lines(-REACH, REACH, count)), layers=count, step=size)
    problem = part.problem(
        fixed(25.0, 8000.0, 500.0), lit_surfaces=["right"], torch=aim_torch(MM, 0.0, 0.0, SPOT)
    )
    state = State(problem)
    share = state.light(REACH, POWER)
    assert share == pytest.approx(1.0, abs=1e-6)  # the plate catches all of it
    z = problem.mesh.walls.centre[problem.wall[problem.torch.wall], 1]
    along = problem.mesh.layer_angles() - REACH
    return state.heat, np.hypot(z[:, None], along[None, :]), size * size


def test_peak_flux(flux, record: Record) -> None:
    """C44: 41.778 MW/m2 = Q / (2 pi s^2) from 1050 W and s = 2 mm."""
    heat, _, area = flux
    assert heat.sum() * area == pytest.approx(POWER, rel=1e-12)
    error = abs(heat.max() / 41.778e6 - 1.0)
    record("arc: peak flux of a Gaussian", "Q/(2 pi s^2)", error, 0.001, "of it")


@pytest.mark.parametrize(
    ("radius", "share"), [(1.0, 0.39347), (2.0, 0.86466), (2.4477, 0.95), (3.0, 0.98889)]
)
def test_power_within_a_radius(flux, radius: float, share: float, record: Record) -> None:
    """C45, C46: 1 - exp(-r^2/2 s^2) within r = s, 2 s, 3 s, and 95 % within 2.4477 s.

    A face on the rim counts with the part of it inside, so the error is that of the rim alone.
    """
    heat, away, area = flux
    inside = np.clip((radius * SPOT - away) / np.sqrt(area) + 0.5, 0.0, 1.0)
    found = float((heat * inside).sum() * area / POWER)
    record("arc: power within s, 2 s, 2.45 s, 3 s", "1 - exp(-r^2/2 s^2)", abs(found - share),
           0.001, "of the power")  # fmt: skip


# --- defaults -----------------------------------------------------------------------------------


def published(name: str, quantity: str) -> dict[str, float]:
    [value] = [v for v in source(name)["value"] if v["quantity"] == quantity]
    return value


def default_arc(*changes: str):
    return bead("TigSettings1", *changes).arc


def test_default_efficiency_is_a_measured_one() -> None:
    """Share of volts times amps that enters the work, for a voltage measured at the torch.

    Seen (abstracts): Stenbacka et al. 2012, 95 % range 0.73 to 0.82; Smartt et al. about 0.75;
    Sandia 1988, 0.75 to 0.85. DuPont and Marder 1995 found 0.67: laboratories differ by more than
    they state, and the band used in comparisons goes from there to 0.82.
    """
    default = default_arc("arc.voltage=12 V").efficiency
    for name, quantity in (
        ("Stenbacka2012", "arc efficiency, plausible"),
        ("Sandia1988", "arc efficiency, gas tungsten arc"),
    ):
        band = published(name, quantity)
        assert band["low"] <= default <= band["high"]
    assert default == published("Smartt1985", "arc efficiency, nominal")["value"]
    assert published("DuPont1995", "arc efficiency, gas tungsten arc")["value"] < default


def test_default_efficiency_of_the_conventional_voltage() -> None:
    """Watts per ampere lie where the published efficiencies and printed voltages put them.

    Efficiency 0.67 (DuPont and Marder 1995) to 0.82 (Stenbacka et al. 2012) times 11 to 13 V,
    printed for 75 to 100 A in sources/TigSettings1.toml (all seen).
    """
    low = published("DuPont1995", "arc efficiency, gas tungsten arc")["value"]
    high = published("Stenbacka2012", "arc efficiency, plausible")["high"]
    rows = [p for p in source("TigSettings1")["pipe"] if p["current_A"][1] <= 100.0]
    assert len(rows) == 2
    for row in rows:
        for current in row["current_A"]:
            arc = default_arc(f"arc.current={current} A")
            volts = arc.power / current
            assert low * row["voltage_V"][0] <= volts <= high * row["voltage_V"][1]


def test_default_spot_is_a_measured_one() -> None:
    """Smartt et al. (abstract seen): a Gaussian of "diameter about 4 mm".

    The abstract does not say what a diameter is; its four readings give standard deviations of
    0.82 to 2.0 mm, and the default lies among them, above three of the four.
    """
    readings = [
        value["value"] * MM
        for value in source("Smartt1985")["value"]
        if value["quantity"].startswith("standard deviation")
    ]
    assert len(readings) == 4
    assert min(readings) <= default_arc().spot <= max(readings)
