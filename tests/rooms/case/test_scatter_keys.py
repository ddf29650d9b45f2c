"""`[scatter]` and `[scale]`: what they read as, that they are written back, what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapheat.case.alloys import builtin
from lapheat.case.case import Scale, Spread
from lapheat.case.file import case_to_toml, read_case_text
from lapheat.problem.setup import job_of, problem_of
from support.case_texts import BASE, BEAD, the_fault


def scatter(lines: str) -> str:
    return f"{BASE}\n[scatter]\n{lines}\n"


def test_defaults_are_there_without_the_table() -> None:
    case = read_case_text(BASE, "x")
    assert case.scale == Scale(1.0, 1.0)
    assert case.scatter["wall"] == Spread(0.1, "share")
    assert case.scatter["aim"] == Spread(0.5e-3, "amount")
    assert case.scatter["clearance"] == Spread(2.0, "factor")
    assert len(case.scatter) == 10


@pytest.mark.parametrize(
    ("line", "name", "spread"),
    [
        ('current = "3 A"', "current", Spread(3.0, "amount")),
        ('current = "3 %"', "current", Spread(0.03, "share")),
        ("current = 0.03", "current", Spread(0.03, "share")),
        ('speed = "1 in/min"', "speed", Spread(0.0254 / 60.0, "amount")),
        ("efficiency = 0", "efficiency", Spread(0.0, "share")),
        ('wall = "0.2 mm"', "wall", Spread(0.2e-3, "amount")),
        ('aim = "1/32 in"', "aim", Spread(0.00079375, "amount")),
        ("emissivity = 1", "emissivity", Spread(1.0, "factor")),
    ],
)
def test_spreads_read_and_come_back_as_written(line: str, name: str, spread: Spread) -> None:
    case = read_case_text(scatter(line), "x")
    assert case.scatter[name].way == spread.way
    assert case.scatter[name].size == pytest.approx(spread.size, rel=1e-11)
    assert read_case_text(case_to_toml(case), "x") == case


def test_a_bead_has_neither_aim_nor_clearance_to_scatter() -> None:
    case = read_case_text(BEAD, "x")
    assert {"aim", "work_angle", "clearance"}.isdisjoint(case.scatter)
    assert read_case_text(case_to_toml(case), "x") == case
    assert the_fault(BEAD + '\n[scatter]\nwork_angle = "5 deg"\n').key == "scatter.work_angle"
    fault = the_fault(BEAD + "\n[scatter]\nclearance = 3\n")
    assert (fault.key, fault.allowed) == ("scatter.clearance", "nothing: a bead-on-tube has no lap")


@pytest.mark.parametrize(
    ("line", "given", "allowed"),
    [
        ('current = "3 V"', '"3 V"', "or a current, the same on both sides"),
        ('current = "-3 A"', '"-3 A"', "or a current, the same on both sides"),
        ('current = "70 %"', '"70 %"', "from 0 to 60%"),
        ('current = "50 A"', '"50 A"', "at most 42 A, 60% of the value"),
        ('efficiency = "3 A"', '"3 A"', "a share of the value"),
        ('aim = "5 %"', '"5 %"', "a length from 0 mm to 20 mm"),
        ('work_angle = "5 %"', '"5 %"', "an angle from 0 deg to 10 deg"),
        ("clearance = 0.5", "0.5", "a number from 1 to 10"),
        ('clearance = "0.1 mm"', '"0.1 mm"', "a number from 1 to 10"),
        ('pause = "5 %"', '"5 %"', "a key of [scatter]: current, efficiency"),
    ],
)
def test_bad_spreads_are_refused(line: str, given: str, allowed: str) -> None:
    fault = the_fault(scatter(line))
    assert fault.key == f"scatter.{line.partition(' =')[0]}"
    assert fault.given == given
    assert allowed in fault.allowed


def test_scaled_alloy_conducts_and_radiates_so_many_times_as_well() -> None:
    alloy = builtin("304L")
    scaled = alloy.scaled(conductivity=1.1, emissivity=1.5)
    T = np.linspace(300.0, 2500.0, 300)
    np.testing.assert_allclose(scaled.k(T), 1.1 * alloy.k(T), rtol=1e-12)
    np.testing.assert_array_equal(scaled.enthalpy(T), alloy.enthalpy(T))
    assert scaled.emissivity == 1.5 * alloy.emissivity
    assert alloy.scaled(emissivity=9.0).emissivity == 1.0
    assert alloy.scaled() is alloy
    # the short cut of its table gives what the long way does
    long = replace(scaled, scaled_from=None).table(512)
    short = scaled.table(512)
    np.testing.assert_allclose(short.conductivity, long.conductivity, rtol=1e-12)
    np.testing.assert_array_equal(short.temperature, long.temperature)
    assert short.k_max == pytest.approx(long.k_max, rel=1e-12)
    # the 735 degC peak of carbon steel has a pole in its formula
    steel = builtin("low-carbon steel")
    np.testing.assert_allclose(steel.scaled(0.9).k(T), 0.9 * steel.k(T), rtol=1e-12)


def test_scale_reaches_cells_walls_and_lap_but_not_the_case() -> None:
    overrides = ("scale.conductivity=1.2", "scale.emissivity=0.5")
    plain = problem_of(read_case_text(BASE, "x", detail="coarse"))
    job = job_of(read_case_text(BASE, "x", overrides, detail="coarse"))
    scaled = job.problem
    np.testing.assert_allclose(scaled.tables.phi, 1.2 * plain.tables.phi, rtol=1e-12)
    np.testing.assert_allclose(
        1.2 * scaled.tables.resistivity, plain.tables.resistivity, rtol=1e-12
    )
    np.testing.assert_allclose(scaled.grid.emissivity, 0.5 * plain.grid.emissivity, rtol=1e-12)
    assert scaled.lap is not None
    assert plain.lap is not None
    assert scaled.lap.filler_conductivity == pytest.approx(1.2 * plain.lap.filler_conductivity)
    assert scaled.lap.emissivity < 0.5 * plain.lap.emissivity
    assert scaled.explicit_limit < plain.explicit_limit
    assert job.case.alloys == read_case_text(BASE, "x").alloys
    text = case_to_toml(job.case)
    assert "[scale]\nconductivity = 1.2\nemissivity = 0.5\n" in text
