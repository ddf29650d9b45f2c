"""Tacks, chill and bench in a case file: what is read, shown, and refused."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from lapheat.case.alloys import builtin
from lapheat.case.case import Bench, Chill, Fixture, Tack, tacked_layers
from lapheat.case.file import case_to_toml, read_case_text, resolved_rows
from support.case_texts import (
    ALLOY,
    ARC_TACK,
    BASE,
    BEAD,
    FIXTURE,
    TACK,
    faults_of,
    put,
    the_fault,
)


def test_fixture_and_tacks_are_read_in_si() -> None:
    case = read_case_text(BASE + FIXTURE + TACK + ARC_TACK, "x")
    assert case.fixture == Fixture(Chill("copper", 0.02, 0.006, 1000.0), Bench(300.0, 308.15))
    one, two = case.tacks
    assert (one.angle, one.length) == (pytest.approx(40 * pi / 180), 0.006)
    assert (one.current, one.time) == (None, None)
    assert (two.current, two.time) == (60.0, 3.0)
    (laid,) = case.arc_tacks
    assert (laid.angle, laid.length, laid.current, laid.time) == (two.angle, two.length, 60.0, 3.0)
    assert case.alloys["copper"] == builtin("copper")


def test_left_out_there_is_nothing() -> None:
    case = read_case_text(BASE + "\n[fixture]\n", "x")
    assert case.fixture == Fixture()
    assert case.tacks == ()
    assert "copper" not in case.alloys


def test_bench_is_as_warm_as_the_air_by_default() -> None:
    text = put("surroundings", 'temperature = "30 degC"')
    case = read_case_text(text, "x", ["fixture.bench_conductance=200 W/(m^2 K)"])
    assert case.fixture.bench == Bench(200.0, 303.15)


def test_chill_may_be_of_an_alloy_of_the_users() -> None:
    text = BASE + FIXTURE.replace('"copper"', '"mine"') + ALLOY
    case = read_case_text(text, "x")
    assert case.alloys["mine"].density == 7900.0


def test_bead_on_tube_may_have_a_chill() -> None:
    text = BEAD + FIXTURE.partition("bench_")[0]
    assert read_case_text(text, "x").fixture.bench is None


def test_expansion_of_a_users_alloy_is_one_coefficient() -> None:
    text = put("tube", 'alloy = "mine"') + ALLOY + 'expansion = "18 um/(m K)"\n'
    strain = read_case_text(text, "x").alloys["mine"].expansion
    assert strain is not None
    assert strain(1020.0 + 273.15) == pytest.approx(1000.0 * 18e-6, rel=1e-12)
    assert read_case_text(text.replace("18 um", "0.018 mm"), "x").alloys["mine"].expansion == strain


def test_a_users_alloy_states_carbon_and_transformation_or_leaves_them_out() -> None:
    text = put("tube", 'alloy = "mine"') + ALLOY
    mine = read_case_text(text, "x").alloys["mine"]
    assert mine.carbon is mine.a1 is mine.a3 is None
    text += 'carbon = "0.05 %"\na1 = "1340 degF"\na3 = "880 degC"\n'
    case = read_case_text(text, "x")
    mine = case.alloys["mine"]
    assert (mine.carbon, mine.a3) == (0.05, 880.0 + 273.15)
    assert mine.a1 == pytest.approx(726.7 + 273.15, abs=0.1)
    assert 'carbon = "0.05 %"' in case_to_toml(case)
    assert read_case_text(case_to_toml(case), "again") == case


def test_rows_show_them() -> None:
    rows = {
        k: (g, si) for k, g, si in resolved_rows(read_case_text(BASE + FIXTURE + ARC_TACK, "x"))
    }
    assert rows["fixture.chill_length"] == ("20 mm", "0.02 m")
    assert rows["tack[1].current"] == ("60 A", "60 A")


@pytest.mark.parametrize("angle", [-3.0, 0.0, 1.0, 6.27])
@pytest.mark.parametrize("length", [1e-4, 5e-3, 0.12])
def test_layers_of_a_tack_lie_round_its_middle(angle: float, length: float) -> None:
    layers, radius = 120, 19.05e-3
    found = tacked_layers(Tack(angle, length), layers, radius)
    step = 2.0 * pi / layers
    assert len(found) == len(set(found)) == min(max(1, round(length / radius / step)), layers)
    middle = np.angle(np.exp(1j * (np.array(found) + 0.5) * step).sum())
    if len(found) < layers:
        off = (middle - angle + pi) % (2.0 * pi) - pi
        assert abs(off) <= 0.5 * step + 1e-9


BAD = [
    # text, key, given, allowed
    (TACK.replace('"6 mm"', '"0 mm"'), "tack[1].length", '"0 mm"', "a length from 0.5 mm"),
    (TACK.replace('"6 mm"', '"130 mm"'), "tack[1].length", '"130 mm"', "circumference, 119.69 mm"),
    (TACK.replace('"40 deg"', "40"), "tack[1].angle", "40", "an angle from -360 deg"),
    (TACK.replace('angle = "40 deg"', ""), "tack[1].angle", "nothing", "an angle from -360 deg"),
    (TACK + 'current = "60 A"', "tack[1].time", "nothing", "a time from 0.1 s"),
    (TACK + 'time = "3 s"', "tack[1].current", "nothing", "a current from 1 A"),
    (ARC_TACK.replace('"3 s"', '"0 s"'), "tack[1].time", '"0 s"', "a time from 0.1 s"),
    (ARC_TACK.replace('"3 s"', '"0.2 s"'), "tack[1].time", '"0.2 s"', "melt the tack's rod"),
    (TACK + 'size = "1 mm"', "tack[1].size", '"1 mm"', "a key of [tack[1]]: angle, length"),
    (TACK + TACK.replace("40 deg", "410 deg"), "tack[2].angle", '"410 deg"', "to 360 deg"),
    (TACK + TACK.replace("40 deg", "50 deg"), "tack[2].angle", '"50 deg"', "tack[1] reaches"),
    (TACK + TACK.replace("40 deg", "-310 deg"), "tack[2].angle", '"-310 deg"', "tack[1] reaches"),
    ('\n[tack]\nangle = "0 deg"', "tack", '{ angle = "0 deg" }', "each headed [[tack]]"),
    (FIXTURE.replace('"20 mm"', '"201 mm"'), "fixture.chill_length", '"201 mm"', "at most 200 mm"),
    (FIXTURE.replace('"6 mm"', '"18 mm"'), "fixture.chill_wall", '"18 mm"', "radius, 17.4 mm"),
    (FIXTURE.replace('"6 mm"', "6"), "fixture.chill_wall", "6", "a length from 0.2 mm"),
    (
        FIXTURE.replace('"1000 W', '"0 W'),
        "fixture.chill_conductance",
        '"0 W/(m^2 K)"',
        "a film coefficient above 0 W/(m^2 K)",
    ),
    (FIXTURE.replace('"copper"', '"coper"'), "fixture.chill_alloy", '"coper"', "a built-in alloy"),
    (
        "\n".join(line for line in FIXTURE.splitlines() if "chill_wall" not in line),
        "fixture.chill_wall",
        "nothing",
        "a length from 0.2 mm",
    ),
    (
        '\n[fixture]\nbench_temperature = "20 degC"',
        "fixture.bench_conductance",
        "nothing",
        "a film coefficient above 0",
    ),
    (
        FIXTURE.replace('"35 degC"', '"35 K/s"'),
        "fixture.bench_temperature",
        '"35 K/s"',
        "a temperature from",
    ),
    (FIXTURE + 'vice = "1 mm"', "fixture.vice", '"1 mm"', "a key of [fixture]: chill_alloy"),
    (ALLOY + "expansion = 18e-6", "alloys.mine.expansion", "1.8e-05", "an expansion coefficient"),
    (ALLOY + 'expansion = "18 um"', "alloys.mine.expansion", '"18 um"', "an expansion coefficient"),
    (ALLOY + "carbon = 0.05", "alloys.mine.carbon", "0.05", "a share by mass from 0 % to 0.2 %"),
    (ALLOY + 'carbon = "0.3 %"', "alloys.mine.carbon", '"0.3 %"', "from 0 % to 0.2 %"),
    (ALLOY + 'carbon = "1 mm"', "alloys.mine.carbon", '"1 mm"', "a share by mass"),
    (ALLOY + 'a1 = "725"', "alloys.mine.a1", '"725"', "a temperature from 500 degC to 1000 degC"),
    (ALLOY + 'a3 = "1200 degC"', "alloys.mine.a3", '"1200 degC"', "from 500 degC to 1000 degC"),
    (
        ALLOY + 'a1 = "900 degC"\na3 = "880 degC"',
        "alloys.mine.a1",
        '"900 degC"',
        "at most a3, 880 degC",
    ),
]


@pytest.mark.parametrize(("text", "key", "given", "allowed"), BAD)
def test_bad_text(text: str, key: str, given: str, allowed: str) -> None:
    fault = the_fault(BASE + text)
    assert (fault.file, fault.key) == ("stub.toml", key)
    assert given in fault.given
    assert allowed in fault.allowed


def test_a_chill_named_only_by_its_alloy_lacks_the_rest() -> None:
    faults = faults_of(BASE + '\n[fixture]\nchill_alloy = "copper"\n')
    assert [fault.key for fault in faults] == [
        *("fixture.chill_length", "fixture.chill_wall", "fixture.chill_conductance")
    ]
    assert all("a chill needs chill_length" in fault.hint for fault in faults)


def test_a_chill_that_holds_no_heat_is_refused() -> None:
    light = ALLOY.replace('"7900 kg/m^3"', '"10 kg/m^3"').replace('"500 J', '"10 J')
    fixture = FIXTURE.replace('"copper"', '"mine"').replace("6 mm", "1 mm")
    fault = the_fault(BASE + light + fixture)
    assert fault.key == "fixture.chill_wall"
    assert "2 ms or longer" in fault.allowed


def test_bead_has_no_tacks_and_no_bench() -> None:
    faults = faults_of(BEAD + FIXTURE + TACK)
    assert {fault.key for fault in faults} == {
        *("tack", "fixture.bench_conductance", "fixture.bench_temperature")
    }
