"""What a case file says of the brazer's hand: pedal and start of travel."""

from __future__ import annotations

import pytest

from lapheat.case.file import case_to_toml, read_case_text, resolved_rows
from support.case_texts import BASE, BEAD, the_fault

FLOW = 1298.15  # CuSi3Mn1 flows at 1025 degC
SOLIDUS = 1673.15  # of 304L, the lower one


def test_defaults_are_those_of_the_contract() -> None:
    case = read_case_text(BASE, "x")
    arc, travel = case.arc, case.travel
    assert (arc.control, travel.start) == ("steady", "timed")
    assert arc.hold == pytest.approx(FLOW + 0.7 * (SOLIDUS - FLOW))
    assert arc.current_range == pytest.approx((21.0, 91.0))
    assert (arc.pedal_lag, travel.dwell_limit) == (0.3, 10.0)


def test_the_usual_hold_lies_between_flow_and_the_lower_solidus() -> None:
    copper = read_case_text(BASE, "x", ["flange.alloy=copper"]).arc.hold
    assert copper is not None
    assert copper == pytest.approx(FLOW + 0.7 * (1357.77 - FLOW), abs=1.0)
    brass = read_case_text(BASE, "x", ["tube.alloy=brass"]).arc.hold
    assert brass == pytest.approx(FLOW)  # it melts before the filler flows: nothing works
    none = read_case_text(BEAD, "x").arc.hold
    assert none is None


def test_keys_are_read_written_and_shown() -> None:
    changes = [
        "arc.control=pedal",
        "arc.hold=2100 degF",
        'arc.current_range=["25 A", "0.1 kA"]',
        "arc.pedal_lag=500 ms",
        "travel.start=on-flow",
        "travel.dwell_limit=0.2 min",
    ]
    case = read_case_text(BASE, "x", changes)
    assert case.arc.control == "pedal"
    assert case.arc.hold == pytest.approx((2100.0 - 32.0) / 1.8 + 273.15)
    assert case.arc.current_range == (25.0, 100.0)
    assert (case.arc.pedal_lag, case.travel.start, case.travel.dwell_limit) == (0.5, "on-flow", 12)
    assert read_case_text(case_to_toml(case), "y") == case
    rows = {key: (given, si) for key, given, si in resolved_rows(case)}
    assert rows["arc.current_range"] == ('["25 A", "0.1 kA"]', '["25 A", "100 A"]')
    assert rows["travel.start"] == ("on-flow", "on-flow")


def test_a_refused_range_is_told_once() -> None:
    fault = the_fault(BASE, "arc.control=pedal", "arc.current_range=30 A")
    assert fault.key == "arc.current_range"


def test_default_range_of_any_current_reads_again() -> None:
    for current in ("1 A", "1000 A"):
        case = read_case_text(BEAD, "x", [f"arc.current={current}"])
        assert read_case_text(case_to_toml(case), "x") == case


@pytest.mark.parametrize(
    ("base", "changes", "key", "allowed"),
    [
        (BASE, ['arc.current_range=["75 A", "90 A"]'], "arc.current_range", "arc.current, 70 A"),
        (BASE, ['arc.current_range=["20 A", "60 A"]'], "arc.current_range", "arc.current, 70 A"),
        (BASE, ["arc.hold=110 degC"], "arc.hold", "at least 120 degC"),
        (BEAD, [], "arc.hold", "a temperature"),
        (
            BASE,
            ['arc.current_range=["1 A", "90 A"]', "fillet.leg=4 mm"],
            "arc.current_range",
            "a lowest current that can melt the rod",
        ),
    ],
)
def test_a_pedal_that_cannot_work(base: str, changes: list[str], key: str, allowed: str) -> None:
    assert read_case_text(base, "stub.toml", changes).arc.control == "steady"
    fault = the_fault(base, "arc.control=pedal", *changes)
    assert fault.key == key
    assert allowed in fault.allowed


def test_a_bead_has_no_flow_to_wait_for() -> None:
    fault = the_fault(BEAD, "travel.start=on-flow")
    assert (fault.key, fault.given) == ("travel.start", '"on-flow"')
    assert '"timed"' in fault.allowed
    case = read_case_text(BEAD, "x", ["arc.control=pedal", "arc.hold=900 degC"])
    assert read_case_text(case_to_toml(case), "x") == case


def test_voltage_follows_the_current_by_convention_only() -> None:
    arc = read_case_text(BASE, "x").arc
    assert arc.voltage_at(20.0) == pytest.approx(10.8)
    assert arc.power_at(20.0) == pytest.approx(0.63 * 10.8 * 20.0)
    assert arc.power_at(70.0) == arc.power
    measured = read_case_text(BASE, "x", ["arc.voltage=11 V"]).arc
    assert measured.voltage_at(20.0) == 11.0
    assert measured.power_at(20.0) == pytest.approx(0.75 * 11.0 * 20.0)
