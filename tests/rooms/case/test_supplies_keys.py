"""The torch gas of a case file, and the strengths of an alloy of one's own."""

from __future__ import annotations

import pytest

from lapheat.case.alloys import Alloy, builtin
from lapheat.case.case import Supplies
from lapheat.case.file import case_to_toml, read_case_text, resolved_rows
from lapheat.case.units import FLOW, STRESS, UnitError, read_quantity, rounded, write_quantity
from support.case_texts import ALLOY, BASE, BEAD, put, the_fault

GAS = '\n[supplies]\nargon_flow = "15 ft^3/h"\npre_flow = "200 ms"\npost_flow = "0.2 min"\n'
STRONG = ALLOY + 'yield_strength = "25 ksi"\nshear_strength = "199 N/mm^2"\n'


@pytest.mark.parametrize("base", [BASE, BEAD])
def test_defaults_are_common_practice(base: str) -> None:
    gas = read_case_text(base, "x").supplies
    assert gas == Supplies(read_quantity("8 L/min", FLOW), 0.5, 8.0) == Supplies()


def test_keys_are_read_written_and_shown() -> None:
    case = read_case_text(BASE + GAS, "x")
    # 1 ft = 0.3048 m exactly
    assert case.supplies.argon_flow == pytest.approx(15.0 * 0.3048**3 / 3600.0, rel=1e-11)
    assert (case.supplies.pre_flow, case.supplies.post_flow) == (0.2, 12.0)
    assert read_case_text(case_to_toml(case), "y") == case
    rows = {key: given for key, given, _ in resolved_rows(case)}
    assert rows["supplies.argon_flow"] == "15 ft^3/h"


# 1 psi = 4.4482216152605 N / (0.0254 m)^2: exact definitions
@pytest.mark.parametrize(
    ("text", "kind", "si"),
    [
        ("8 L/min", FLOW, 8e-3 / 60.0),
        ("8 l/min", FLOW, 8e-3 / 60.0),
        ("0.5 m^3/h", FLOW, 0.5 / 3600.0),
        ("15 CFH", FLOW, 15.0 * 0.3048**3 / 3600.0),
        ("170 MPa", STRESS, 170e6),
        ("170 N/mm²", STRESS, 170e6),
        ("25 ksi", STRESS, 25e3 * 4.4482216152605 / 0.0254**2),
        ("25000 psi", STRESS, 25e3 * 4.4482216152605 / 0.0254**2),
    ],
)
def test_units_of_gas_and_stress(text: str, kind: object, si: float) -> None:
    assert read_quantity(text, kind) == pytest.approx(si, rel=1e-11)  # type: ignore[arg-type]


def test_a_flow_is_no_speed() -> None:
    assert write_quantity(rounded(8e-3 / 60.0), FLOW) == "8 L/min"
    with pytest.raises(UnitError, match="m/min is a speed, not a gas flow"):
        read_quantity("8 m/min", FLOW)


@pytest.mark.parametrize(
    ("text", "key", "given", "allowed"),
    [
        (GAS.replace("15 ft^3/h", "8"), "supplies.argon_flow", '"8"', "a gas flow from 1 L/min"),
        (GAS.replace("15 ft^3/h", "8 L"), "supplies.argon_flow", '"8 L"', "a gas flow from 1"),
        (GAS.replace("15 ft", "150 ft"), "supplies.argon_flow", '"150 ft^3/h"', "to 60 L/min"),
        (GAS.replace('"15 ft^3/h"', "8"), "supplies.argon_flow", "8", "a gas flow from 1 L/min"),
        (GAS.replace("200 ms", "-1 s"), "supplies.pre_flow", '"-1 s"', "a time from 0 s"),
        (GAS.replace("200 ms", "2 L"), "supplies.pre_flow", '"2 L"', "a time from 0 s to 120 s"),
        (GAS.replace("0.2 min", "3 min"), "supplies.post_flow", '"3 min"', "a time from 0 s to"),
        (GAS.replace("0.2 min", "long"), "supplies.post_flow", '"long"', "a time from 0 s to"),
        (GAS + 'gas = "8 L/min"', "supplies.gas", '"8 L/min"', "argon_flow, pre_flow, post_flow"),
        (STRONG.replace("25 ksi", "25 kg"), "alloys.mine.yield_strength", "25 kg", "a stress from"),
        (STRONG.replace("25 ksi", "0 MPa"), "alloys.mine.yield_strength", "0 MPa", "from 1 MPa"),
        (STRONG.replace('"199 N/mm^2"', "199"), "alloys.mine.shear_strength", "199", "a stress"),
        (STRONG.replace("199 N", "1e5 N"), "alloys.mine.shear_strength", "1e5 N", "to 3000 MPa"),
    ],
)
def test_bad_text(text: str, key: str, given: str, allowed: str) -> None:
    fault = the_fault(BASE + text)
    assert (fault.file, fault.key) == ("stub.toml", key)
    assert given in fault.given
    assert allowed in fault.allowed


def test_a_word_of_the_trade_leads_to_the_key() -> None:
    fault = the_fault(put("arc", 'argon = "8 L/min"'))
    assert "supplies.argon_flow" in fault.hint


def test_strengths_of_a_users_alloy_are_read_and_written() -> None:
    text = put("tube", 'alloy = "mine"') + STRONG
    mine = read_case_text(text, "x").alloys["mine"]
    assert mine.yield_strength == pytest.approx(172.369e6, rel=1e-5)
    assert mine.shear_strength == 199e6
    case = read_case_text(text, "x")
    assert read_case_text(case_to_toml(case), "y") == case
    assert read_case_text(text.replace("yield_strength", "# y"), "x").alloys["mine"].density > 0


@pytest.mark.parametrize("strength", [0.0, -1.0, float("nan"), float("inf")])
def test_a_strength_no_alloy_can_have_is_refused(strength: float) -> None:
    with pytest.raises(ValueError, match="x: strength must be above 0"):
        Alloy.tabulated("x", 7900.0, 15.0, 500.0, 0.5, yield_strength=strength)


def test_built_in_strengths_are_the_least_of_their_standards() -> None:
    """ASTM A269 (304L 25 ksi, 304 30 ksi), as vendors print it; A5.7 50 ksi over sqrt(3)."""
    ksi = 6.894757e6
    assert builtin("304L").yield_strength == pytest.approx(25.0 * ksi, rel=0.015)
    assert builtin("304").yield_strength == pytest.approx(30.0 * ksi, rel=0.015)
    assert builtin("CuSi3Mn1").shear_strength == pytest.approx(50.0 * ksi / 3.0**0.5, rel=0.01)
    assert all(builtin(name).yield_strength for name in ("316L", "321", "409", "low-carbon steel"))
