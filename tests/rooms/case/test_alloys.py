"""Alloys: piecewise properties, enthalpy and its inverse, tables, and the built-in library."""

from __future__ import annotations

import pickle
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from lapheat.case.alloys import Alloy, Piece, Property, UnknownAlloyError, builtin, builtin_names
from lapheat.case.alloys.alloy import TABLE_RANGE

ZERO = 273.15
NAMES = (
    "304",
    "304L",
    "316L",
    "321",
    "409",
    "CuSi3Mn1",
    "aluminium",
    "brass",
    "copper",
    "low-carbon steel",
)


# --- properties ---------------------------------------------------------------------------------


def test_a_property_is_held_outside_its_range() -> None:
    line = Property((Piece(300.0, 400.0, (1.0, 0.5), zero=300.0),))
    assert line(300.0) == 1.0
    assert line(200.0) == 1.0
    assert line(400.0) == 51.0
    assert line(900.0) == 51.0
    assert (line.low, line.high) == (300.0, 400.0)


def test_a_held_slope_goes_on_straight() -> None:
    parabola = Property((Piece(300.0, 400.0, (0.0, 0.0, 1.0), zero=300.0),), hold_slope=True)
    assert parabola(410.0) == pytest.approx(100.0**2 + 2.0 * 100.0 * 10.0)
    assert parabola(290.0) == pytest.approx(0.0)


def test_a_property_keeps_the_shape_it_is_given() -> None:
    line = Property((Piece(300.0, 400.0, (1.0, 0.5), zero=300.0),))
    assert isinstance(line(350.0), float)
    T = np.array([[250.0, 350.0, 450.0], [300.0, 400.0, 320.0]])
    np.testing.assert_allclose(line(T), [[1.0, 26.0, 51.0], [1.0, 51.0, 11.0]])


def test_at_a_join_the_upper_piece_counts() -> None:
    step = Property((Piece(300.0, 400.0, (1.0,)), Piece(400.0, 500.0, (2.0,))))
    assert step(np.nextafter(400.0, 0.0)) == 1.0
    assert step(400.0) == 2.0


def test_a_table_is_straight_between_its_points() -> None:
    table = Property.table([300.0, 400.0, 600.0], [10.0, 20.0, 0.0])
    np.testing.assert_allclose(
        table(np.array([200.0, 300.0, 350.0, 400.0, 500.0, 600.0, 700.0])),
        [10.0, 10.0, 15.0, 20.0, 10.0, 0.0, 0.0],
        atol=1e-12,
    )
    assert table.integral(300.0, 600.0) == pytest.approx(1500.0 + 2000.0)
    assert table.integral(600.0, 300.0) == pytest.approx(-3500.0)


PROPERTIES = [
    pytest.param(values, id=f"{name}-{field}")
    for name in NAMES
    for field in ("conductivity", "specific_heat", "expansion")
    if (values := getattr(builtin(name), field)) is not None
]


@pytest.mark.parametrize("values", PROPERTIES)
def test_integrals_in_closed_form_agree_with_quadrature(values: Property) -> None:
    """Piece by piece, and across the held ends."""
    ends = np.unique([values.low - 50.0, *values.joins, values.high + 50.0])
    for start, end in pairwise(ends):
        # Nudged inward so that quadrature sees one piece only.
        area, _ = quad(values, start + 1e-9, end - 1e-9, epsabs=0.0, epsrel=1e-11, limit=200)
        assert values.integral(start, end) == pytest.approx(area, rel=1e-7, abs=1e-9)
    whole = sum(values.integral(a, b) for a, b in pairwise(ends))
    assert values.integral(ends[0], ends[-1]) == pytest.approx(whole, rel=1e-12)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Property(()), "at least one piece"),
        (
            lambda: Property((Piece(300.0, 400.0, (1.0,)), Piece(450.0, 500.0, (1.0,)))),
            "400 K, then 450 K",
        ),
        (lambda: Piece(400.0, 300.0, (1.0,)), "temperatures must rise"),
        (lambda: Piece(300.0, 400.0, (float("nan"),)), "finite"),
        (lambda: Piece(300.0, 400.0, (1.0,), numerator=1.0, pole=350.0), "pole at 350 K"),
        (lambda: Property.table([300.0], [1.0]), "at least two points"),
        (lambda: Property.table([300.0, 400.0], [1.0]), "2 temperatures but 1 values"),
        (lambda: Property.table([300.0, 300.0], [1.0, 2.0]), "temperatures must rise"),
        (lambda: Property.table([300.0, float("inf")], [1.0, 2.0]), "finite"),
    ],
)
def test_impossible_properties_are_refused(make: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        make()


# --- enthalpy -----------------------------------------------------------------------------------


@given(name=st.sampled_from(NAMES), T=st.floats(150.0, 5000.0))
def test_temperature_undoes_enthalpy(name: str, T: float) -> None:
    alloy = builtin(name)
    assert alloy.temperature(alloy.enthalpy(T)) == pytest.approx(T, abs=1e-8, rel=0.0)


@given(name=st.sampled_from(NAMES), h=st.floats(-1.0e5, 4.0e6))
def test_enthalpy_undoes_temperature(name: str, h: float) -> None:
    """Also in the middle of melting, where a pure metal's temperature hardly moves."""
    alloy = builtin(name)
    assert alloy.enthalpy(alloy.temperature(h)) == pytest.approx(h, abs=1e-3, rel=0.0)


@pytest.mark.parametrize("name", NAMES)
def test_the_inverse_is_exact_at_every_join(name: str) -> None:
    alloy = builtin(name)
    assert alloy.solidus is not None
    assert alloy.liquidus is not None
    T = np.unique([*alloy.specific_heat.joins, alloy.solidus, alloy.liquidus])
    T = np.concatenate([T - 1e-3, T, T + 1e-3])
    np.testing.assert_allclose(alloy.temperature(alloy.enthalpy(T)), T, atol=1e-9, rtol=0.0)


@pytest.mark.parametrize("name", NAMES)
def test_enthalpy_is_zero_when_cold_and_takes_up_the_latent_heat(name: str) -> None:
    alloy = builtin(name)
    assert alloy.enthalpy(20.0 + ZERO) == 0.0
    assert alloy.solidus is not None
    assert alloy.liquidus is not None
    assert alloy.latent_heat is not None
    end = max(alloy.liquidus, alloy.solidus + 0.02)
    sensible, _ = quad(alloy.c, alloy.solidus, end)
    melting = alloy.enthalpy(end) - alloy.enthalpy(alloy.solidus)
    assert melting - sensible == pytest.approx(alloy.latent_heat, rel=1e-7)


@pytest.mark.parametrize("name", NAMES)
def test_the_slope_of_enthalpy_is_the_specific_heat_off_the_joins(name: str) -> None:
    alloy = builtin(name)
    assert alloy.solidus is not None
    assert alloy.liquidus is not None
    T = np.arange(250.0, 3000.0, 7.3)
    joins = np.array([*alloy.specific_heat.joins, alloy.solidus, alloy.liquidus])
    T = T[np.min(np.abs(T[:, None] - joins), axis=1) > 0.5]
    middle, half = 0.5 * (alloy.solidus + alloy.liquidus), 0.5 * (alloy.liquidus - alloy.solidus)
    T = T[np.abs(T - middle) > half + 0.02]
    step = 0.01
    slope = (alloy.enthalpy(T + step) - alloy.enthalpy(T - step)) / (2.0 * step)
    np.testing.assert_allclose(slope, alloy.c(T), rtol=2e-5)


@pytest.mark.parametrize("name", ["304", "304L", "316L", "321", "CuSi3Mn1", "low-carbon steel"])
def test_conductivity_is_continuous_through_melting(name: str) -> None:
    alloy = builtin(name)
    assert alloy.solidus is not None
    assert alloy.liquidus is not None
    assert alloy.liquid_conductivity is not None
    for T in (alloy.solidus, alloy.liquidus):
        assert alloy.k(T - 1e-6) == pytest.approx(alloy.k(T + 1e-6), rel=1e-5)
    assert alloy.k(alloy.solidus) == pytest.approx(alloy.conductivity(alloy.solidus))
    assert alloy.k(alloy.liquidus) == pytest.approx(alloy.liquid_conductivity(alloy.liquidus))
    middle = 0.5 * (alloy.solidus + alloy.liquidus)
    mean = 0.5 * (alloy.k(alloy.solidus) + alloy.k(alloy.liquidus))
    assert alloy.k(middle) == pytest.approx(mean)


def test_between_the_published_end_and_melting_the_solid_value_is_held() -> None:
    steel = builtin("low-carbon steel")
    assert steel.k(1200.0 + ZERO) == steel.k(1489.0 + ZERO) == pytest.approx(27.3)
    assert steel.c(1200.0 + ZERO) == steel.c(1489.0 + ZERO) == 650.0


# --- tables for the kernel ----------------------------------------------------------------------


@pytest.mark.parametrize("name", NAMES)
def test_the_default_table_is_exact_enough_everywhere(name: str) -> None:
    """Temperature within 0.05 K, at the kinks at 735 degC, solidus and liquidus too.

    Each kink is sampled every 0.3 mK.
    """
    alloy = builtin(name)
    table = alloy.table()
    assert alloy.solidus is not None
    assert alloy.liquidus is not None
    kinks = (*alloy.specific_heat.joins, alloy.solidus, alloy.liquidus)
    near = [kink + np.linspace(-1.0, 1.0, 6001) for kink in kinks]
    T = np.clip(np.concatenate([np.linspace(*TABLE_RANGE, 40001), *near]), *TABLE_RANGE)
    looked_up, k = table.lookup(alloy.enthalpy(T))
    assert np.max(np.abs(looked_up - T)) < 0.05
    # Half of the 0.06 W/(m K) step of the carbon-steel standard at 800 degC, and rounding.
    assert np.max(np.abs(k - alloy.k(T))) < 0.061


def test_a_table_covers_200_to_4500_kelvin_evenly_and_goes_on_straight() -> None:
    alloy = Alloy.constant("block", 8000.0, 20.0, 500.0, 0.5)
    table = alloy.table(size=1001)
    assert table.temperature.shape == table.conductivity.shape == (1001,)
    assert table.h0 == pytest.approx(500.0 * (200.0 - 293.15))
    assert table.h0 + 1000 * table.dh == pytest.approx(500.0 * (4500.0 - 293.15))
    T, k = table.lookup(np.array([500.0 * (100.0 - 293.15), 500.0 * (5000.0 - 293.15)]))
    np.testing.assert_allclose(T, [100.0, 5000.0])
    np.testing.assert_allclose(k, 20.0)
    with pytest.raises(ValueError, match="read-only"):
        table.temperature[0] = 0.0


@pytest.mark.parametrize("name", NAMES)
def test_a_table_tells_the_stability_limits(name: str) -> None:
    alloy = builtin(name)
    table = alloy.table()
    T = np.linspace(*TABLE_RANGE, 5001)
    assert np.all(alloy.c(T) >= table.c_min * (1.0 - 1e-9))
    assert np.all(alloy.k(T) <= table.k_max * (1.0 + 2e-4))
    assert table.k_max == np.max(table.conductivity)


# --- alloys of the user -------------------------------------------------------------------------


def test_a_constant_alloy_melts_where_it_is_told() -> None:
    alloy = Alloy.constant("wax", 900.0, 0.2, 2000.0, 0.9, 320.0, 330.0, 1.0e5)
    assert alloy.enthalpy(320.0) == pytest.approx(2000.0 * (320.0 - 293.15))
    assert alloy.enthalpy(325.0) == pytest.approx(2000.0 * (325.0 - 293.15) + 0.5e5)
    assert alloy.enthalpy(330.0) == pytest.approx(2000.0 * (330.0 - 293.15) + 1.0e5)
    assert alloy.temperature(2000.0 * (325.0 - 293.15) + 0.5e5) == pytest.approx(325.0)


def test_an_alloy_molten_when_cold_has_zero_enthalpy_there_all_the_same() -> None:
    alloy = Alloy.constant("gallium", 6000.0, 30.0, 400.0, 0.1, 280.0, 285.0, 8.0e4)
    assert alloy.enthalpy(293.15) == 0.0
    assert alloy.enthalpy(270.0) == pytest.approx(-400.0 * 23.15 - 8.0e4)


def test_a_single_melting_point_is_spread_a_little() -> None:
    alloy = Alloy.constant("ice", 917.0, 2.0, 2000.0, 0.9, 300.0, 300.0, 3.0e5)
    solid = 2000.0 * (300.0 - 293.15)
    assert alloy.temperature(solid) == pytest.approx(300.0, abs=1e-9)
    assert alloy.temperature(solid + 1.5e5 + 20.0) == pytest.approx(300.01, abs=1e-9)
    assert alloy.temperature(solid + 3.0e5 + 40.0) == pytest.approx(300.02, abs=1e-9)
    assert alloy.temperature(solid + 3.0e5 + 2000.0) == pytest.approx(301.0, abs=1e-9)


def test_a_user_table_and_a_plain_number_can_be_mixed() -> None:
    alloy = Alloy.tabulated("mine", 8000.0, ([300.0, 900.0], [10.0, 40.0]), 500.0, 0.5)
    assert alloy.k(600.0) == pytest.approx(25.0)
    assert alloy.k(2000.0) == pytest.approx(40.0)
    assert alloy.c(2000.0) == 500.0
    assert alloy.held(310.0, 890.0) == ()
    assert alloy.held(310.0, 1000.0) == (
        "mine conductivity is given from 27 to 627 degC and held beyond",
    )


@pytest.mark.parametrize(
    ("changed", "message"),
    [
        ({"density": 0.0}, "density must be above 0, not 0"),
        ({"density": float("nan")}, "density"),
        ({"emissivity": -0.1}, "emissivity"),
        ({"emissivity": 1.2}, "emissivity must be from 0 to 1, not 1.2"),
        ({"conductivity": 0.0}, "conductivity must be above 0"),
        ({"conductivity": float("nan")}, "conductivity: .* finite"),
        ({"specific_heat": -500.0}, "specific heat must be above 0"),
        ({"specific_heat": ([300.0, 400.0], [500.0, -1.0])}, "specific heat must be above 0"),
        ({"specific_heat": ([400.0, 300.0], [500.0, 1.0])}, "specific heat: temperatures must"),
        ({"solidus": 1700.0}, "give solidus, liquidus and latent heat, or none"),
        ({"solidus": 1700.0, "liquidus": 1750.0}, "or none of them"),
        ({"solidus": 1750.0, "liquidus": 1700.0, "latent_heat": 2e5}, "not above liquidus"),
        ({"solidus": 1700.0, "liquidus": 1750.0, "latent_heat": -1.0}, "must not be negative"),
    ],
)
def test_impossible_alloys_are_refused(changed: dict[str, Any], message: str) -> None:
    good: dict[str, Any] = {
        "name": "block",
        "density": 8000.0,
        "conductivity": 20.0,
        "specific_heat": 500.0,
        "emissivity": 0.5,
    }
    Alloy.tabulated(**good)
    with pytest.raises(ValueError, match=message):
        Alloy.tabulated(**good | changed)


# --- the library --------------------------------------------------------------------------------


def test_the_built_in_alloys_are_these() -> None:
    assert builtin_names() == NAMES
    assert [builtin(name).name for name in NAMES] == list(NAMES)


def test_an_unknown_alloy_is_refused_with_a_guess() -> None:
    with pytest.raises(UnknownAlloyError) as caught:
        builtin("Low carbon steel")
    assert isinstance(caught.value, KeyError)
    assert caught.value.nearest == ("low-carbon steel",)
    assert str(caught.value).startswith(
        "no alloy is called 'Low carbon steel'. Did you mean low-carbon steel? Known: 304, "
    )
    assert str(pickle.loads(pickle.dumps(caught.value))) == str(caught.value)


@pytest.mark.parametrize("name", NAMES)
def test_an_alloy_survives_a_trip_to_another_process(name: str) -> None:
    alloy = builtin(name)
    alloy.table(size=16)
    assert pickle.loads(pickle.dumps(alloy)) == alloy
    assert hash(pickle.loads(pickle.dumps(alloy))) == hash(alloy)


@pytest.mark.parametrize("name", NAMES)
def test_every_value_of_a_built_in_alloy_names_its_source(name: str) -> None:
    alloy = builtin(name)
    fields = {
        field
        for field in vars(type(alloy))["__dataclass_fields__"]
        if field not in ("name", "sources") and getattr(alloy, field) is not None
    }
    assert fields == set(alloy.sources)
    assert all(alloy.sources.values())


def entries(data: Any, path: str) -> Iterator[tuple[str, dict[str, Any]]]:
    """The tables of a data file that hold numbers, innermost ones."""
    if isinstance(data, list):
        for i, inner in enumerate(data):
            yield from entries(inner, f"{path}[{i}]")
    elif inside := {
        key: value
        for key, value in data.items()
        if isinstance(value, dict) or (isinstance(value, list) and isinstance(value[0], dict))
    }:
        for key, inner in inside.items():
            yield from entries(inner, f"{path}.{key}")
    else:
        yield path, data


@pytest.mark.parametrize("name", NAMES)
def test_every_number_in_a_data_file_has_unit_source_and_range(name: str) -> None:
    path = files("lapheat.case.alloys") / "data" / f"{name.replace(' ', '-')}.toml"
    found = list(entries(tomllib.loads(path.read_text("utf-8")), name))
    assert len(found) >= 8
    for key, table in found:
        assert table["unit"], key
        assert len(table["source"]) > 10, key
        assert {"range", "spread", "temperature"} & table.keys(), key
        if "spread" in table:
            low, high = table["spread"]
            assert low <= table["value"] <= high, key


# --- what a report must tell --------------------------------------------------------------------


def test_nothing_is_told_inside_the_published_range() -> None:
    assert builtin("low-carbon steel").held(20.0 + ZERO, 1200.0 + ZERO, expansion=True) == ()
    assert builtin("304L").held(27.0 + ZERO, 1390.0 + ZERO) == ()


def test_what_is_held_is_told_in_plain_sentences() -> None:
    assert builtin("304L").held(20.0 + ZERO, 1000.0 + ZERO) == (
        "304L conductivity and specific heat are published from 27 to 1427 degC and held beyond",
    )
    assert builtin("409").held(20.0 + ZERO, 600.0 + ZERO, expansion=True) == (
        "409 conductivity and specific heat are published at 20 degC only and held elsewhere",
        "409 expansion is published from 20 to 500 degC and held beyond",
    )


def test_the_liquid_has_its_own_range() -> None:
    assert builtin("CuSi3Mn1").held(20.0 + ZERO, 1250.0 + ZERO) == ()
    assert builtin("CuSi3Mn1").held(20.0 + ZERO, 1400.0 + ZERO) == (
        "CuSi3Mn1 liquid conductivity and liquid specific heat are estimated from 1025 to 1300 degC"
        " and held beyond",
    )


# --- imports ------------------------------------------------------------------------------------


def test_importing_the_alloys_needs_numpy_only() -> None:
    """Help must appear at once, so nothing slow may be imported on the way to a case."""
    code = (
        "import sys, lapheat.case.alloys;"
        "slow = {'scipy', 'matplotlib', 'fipy', 'numba', 'pint', 'pydantic'};"
        "print(*sorted(slow & set(sys.modules)))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == ""
