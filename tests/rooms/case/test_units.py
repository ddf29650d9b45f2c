"""Quantities as people write them."""

from __future__ import annotations

import math
import pickle

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapheat.case import units
from lapheat.case.units import (
    ANGLE,
    CONDUCTIVITY,
    CURRENT,
    DENSITY,
    DIFFERENCE,
    FILM,
    LATENT_HEAT,
    LENGTH,
    NUMBER,
    SPECIFIC_HEAT,
    SPEED,
    TEMPERATURE,
    TIME,
    VOLTAGE,
    Kind,
    Quantity,
    UnitError,
    read_quantity,
    rounded,
    si_text,
    write_quantity,
)

KINDS = (
    *(LENGTH, SPEED, TIME, CURRENT, VOLTAGE, ANGLE, TEMPERATURE, DIFFERENCE),
    *(FILM, DENSITY, CONDUCTIVITY, SPECIFIC_HEAT, LATENT_HEAT, NUMBER),
)


# 1 in = 25.4 mm and 1 lb = 0.45359237 kg exactly: international yard and pound, 1959. 0 degC is
# 273.15 K and 1 degF is 5/9 K with 32 degF at 0 degC: definitions. Btu (international table)
# 1055.05585262 J: NIST SP 811, appendix B (from memory).
@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("1.5 in", LENGTH, 0.0381),
        ("1.5in", LENGTH, 0.0381),
        ('1.5"', LENGTH, 0.0381),
        ("1.5 in.", LENGTH, 0.0381),
        ("38.1 mm", LENGTH, 0.0381),
        ("3.81 cm", LENGTH, 0.0381),
        ("1/16 in", LENGTH, 0.0015875),
        ("1 1/16 in", LENGTH, 0.0269875),
        ("1-1/16 in", LENGTH, 0.0269875),
        ("65 thou", LENGTH, 0.001651),
        ("65 mil", LENGTH, 0.001651),
        ("50 µm", LENGTH, 5e-5),
        (".5 ft", LENGTH, 0.1524),
        ("-2 mm", LENGTH, -0.002),
        ("\u22122 mm", LENGTH, -0.002),
        ("1e-3 m", LENGTH, 0.001),
        ("6 in/min", SPEED, 0.00254),
        ("150 mm/min", SPEED, 0.0025),
        ("0.5 min", TIME, 30.0),
        ("80 A", CURRENT, 80.0),
        ("80 amps", CURRENT, 80.0),
        ("0.08 kA", CURRENT, 80.0),
        ("11.5 V", VOLTAGE, 11.5),
        ("11.5 volts", VOLTAGE, 11.5),
        ("45 deg", ANGLE, 0.785398163397),
        ("45°", ANGLE, 0.785398163397),
        ("1/8 turn", ANGLE, 0.785398163397),
        ("0.5 rad", ANGLE, 0.5),
        ("20 degC", TEMPERATURE, 293.15),
        ("68 degF", TEMPERATURE, 293.15),
        ("68 °F", TEMPERATURE, 293.15),
        ("20 ° C", TEMPERATURE, 293.15),
        ("20 deg C", TEMPERATURE, 293.15),
        ("293.15 K", TEMPERATURE, 293.15),
        ("-40 degF", TEMPERATURE, 233.15),
        ("50 K", DIFFERENCE, 50.0),
        ("50 delta_degC", DIFFERENCE, 50.0),
        ("90 delta_degF", DIFFERENCE, 50.0),
        ("10 W/(m^2 K)", FILM, 10.0),
        ("10 W/(m2 K)", FILM, 10.0),
        ("10 W/(m²·K)", FILM, 10.0),
        ("10 W/m^2/K", FILM, 10.0),
        ("10 W m^-2 K^-1", FILM, 10.0),
        ("10 W/(m^2 degC)", FILM, 10.0),
        ("1 Btu/(hr ft^2 degF)", FILM, 5.67826334111),
        ("15 W/(m K)", CONDUCTIVITY, 15.0),
        ("0.15 W/(cm K)", CONDUCTIVITY, 15.0),
        ("7.9 g/cm^3", DENSITY, 7900.0),
        ("7.9 g/cc", DENSITY, 7900.0),
        ("3 cubic in", Kind("a volume", "m^3", "mm^3", ()), 3 * 0.0254**3),
        ("12 kg/m³", DENSITY, 12.0),
        ("0.285 lb/in^3", DENSITY, 0.285 * 0.45359237 / 0.0254**3),
        ("0.12 cal/(g K)", SPECIFIC_HEAT, 502.08),
        ("270 kJ/kg", LATENT_HEAT, 270e3),
        ("75 %", NUMBER, 0.75),
        ("0.75", NUMBER, 0.75),
        (0.75, NUMBER, 0.75),
        (1, NUMBER, 1.0),
    ],
)
def test_reads_what_people_write(text: object, kind: Kind, si: float) -> None:
    assert float(read_quantity(text, kind)) == pytest.approx(si, rel=1e-11, abs=0.0)


@pytest.mark.parametrize(
    ("text", "kind", "say"),
    [
        (1.5, LENGTH, '"1.5 mm" or "1.5 in"'),
        (20, TEMPERATURE, '"20 degC" or "20 degF"'),
        ("0.065", LENGTH, '"0.065 mm" or "0.065 in"'),
        ("", LENGTH, "no number"),
        ("mm", LENGTH, "no number"),
        ("two mm", LENGTH, "no number"),
        ("1,5 mm", LENGTH, "1.5 not 1,5"),
        ("1/0 in", LENGTH, "divides by zero"),
        ("nan mm", LENGTH, "finite"),
        ("-inf mm", LENGTH, "finite"),
        ("1e999 mm", LENGTH, "finite"),
        (math.nan, NUMBER, "finite"),
        (math.inf, NUMBER, "finite"),
        (10**400, NUMBER, "finite"),
        (True, NUMBER, "not a number"),
        (True, LENGTH, "not a length"),
        (None, LENGTH, "not a length"),
        (["1 mm"], LENGTH, "not a length"),
        ("3 A", LENGTH, "A is a current, not a length"),
        ("3 mm^2", LENGTH, "not a length"),
        ("3 deg", LENGTH, "deg is an angle"),
        ("3 furlong", LENGTH, "not a unit"),
        ("3 mm mm", LENGTH, "not a length"),
        ("3 mm*2", LENGTH, "not a unit"),
        ("3 (mm", LENGTH, "not a unit"),
        ("3 mm^99", LENGTH, "not a unit"),
        ("3 * 2 mm", LENGTH, "not a unit"),
        ("1.5/2 in", LENGTH, "not a unit"),
        ("0x10 mm", LENGTH, "not a unit"),
        ("9" * 200 + " mm", LENGTH, "no number"),
        ("20 C", TEMPERATURE, "write degC"),
        ("68 F", TEMPERATURE, "write degF"),
        ("20 delta_degC", TEMPERATURE, "a difference, not a temperature"),
        ("50 degC", DIFFERENCE, "write delta_degC or K"),
        ("90 degF", DIFFERENCE, "write delta_degF or K"),
        ("15 W/mK", CONDUCTIVITY, "brackets"),
        ("15 W/m K", CONDUCTIVITY, "brackets"),
        ("10 W/m^2 K", FILM, "brackets"),
        ("50 %", ANGLE, "% is a number, not an angle"),
        ("5 deg", NUMBER, "leave the unit out"),
        ("5 mm/mm/s", NUMBER, "leave the unit out"),
    ],
)
def test_refuses_and_tells_how_to_mend_it(text: object, kind: Kind, say: str) -> None:
    with pytest.raises(UnitError) as caught:
        read_quantity(text, kind)
    assert say in str(caught.value)


@pytest.mark.parametrize(
    ("inch", "millimetre"),
    [
        ("1.5 in", "38.1 mm"),
        ("0.065 in", "1.651 mm"),
        ("1/4 in", "6.35 mm"),
        ("7/8 in", "2.2225 cm"),
    ],
)
def test_inches_and_millimetres_are_one_float(inch: str, millimetre: str) -> None:
    assert (
        float(read_quantity(inch, LENGTH)).hex() == float(read_quantity(millimetre, LENGTH)).hex()
    )


@settings(deadline=None)  # the first quantity read loads pint
@given(st.integers(1, 10**7))
def test_every_ten_thousandth_inch_is_one_float_in_millimetres(tenths: int) -> None:
    inch, millimetre = f"{tenths}e-4 in", f"{tenths * 254}e-5 mm"
    assert float(read_quantity(inch, LENGTH)) == float(read_quantity(millimetre, LENGTH))


@settings(deadline=None)
@given(st.sampled_from(KINDS), st.floats(1e-6, 1e6), st.sampled_from((-1.0, 1.0)))
def test_written_and_read_back_is_the_same_float(kind: Kind, size: float, sign: float) -> None:
    value = rounded(sign * size)
    assert float(read_quantity(_read(write_quantity(value, kind), kind), kind)) == value


@settings(deadline=None)
@given(st.floats(1.0, 3000.0))
def test_temperature_survives_fahrenheit(kelvin: float) -> None:
    value = rounded(kelvin)
    assert float(read_quantity(write_quantity(value, TEMPERATURE, "degF"), TEMPERATURE)) == value


def _read(text: str, kind: Kind) -> object:
    return text if kind.si else float(text)


@settings(deadline=None)
@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text: str) -> None:
    for kind in (LENGTH, TEMPERATURE, NUMBER):
        for given_text in (text, f"3 {text}"):
            try:
                value = read_quantity(given_text, kind)
            except UnitError:
                continue
            assert math.isfinite(value)


@settings(deadline=None)
@given(st.text(alphabet="mWKdegCF/()^*-23 .%°²", max_size=16))
def test_any_unit_is_read_or_refused(unit: str) -> None:
    for kind in KINDS:
        try:
            value = read_quantity(f"3 {unit}", kind)
        except UnitError:
            continue
        assert math.isfinite(value)


def test_quantity_remembers_how_it_was_written() -> None:
    length = read_quantity(" 1.5 in ", LENGTH)
    assert (length.text, length.unit) == ("1.5 in", "inch")
    assert isinstance(length, Quantity)
    copy = pickle.loads(pickle.dumps(length))
    assert (copy, copy.text, copy.unit) == (length, "1.5 in", "inch")


def test_writes_short_text() -> None:
    assert write_quantity(0.0381, LENGTH) == "38.1 mm"
    assert write_quantity(0.0381, LENGTH, "in") == "1.5 in"
    assert write_quantity(293.15, TEMPERATURE) == "20 degC"
    assert write_quantity(0.785398163397, ANGLE) == "45 deg"
    assert write_quantity(270e3, LATENT_HEAT) == "270000 J/kg"
    assert write_quantity(0.75, NUMBER) == "0.75"
    assert si_text(0.0381, LENGTH) == "0.0381 m"
    assert si_text(0.75, NUMBER) == "0.75"


def test_writing_in_a_unit_of_another_kind_fails() -> None:
    with pytest.raises(UnitError, match="not a length"):
        write_quantity(1.0, LENGTH, "A")


def test_units_are_defined_once(caplog: pytest.LogCaptureFixture) -> None:
    units._registry.cache_clear()
    units._converter.cache_clear()
    assert read_quantity("1 mil", LENGTH) == 2.54e-5
    assert caplog.records == []


def test_public_names_exist() -> None:
    assert all(hasattr(units, name) for name in units.__all__)
