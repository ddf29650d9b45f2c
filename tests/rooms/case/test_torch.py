"""`arc.length`: volts, efficiency and spot of an arc as a hand knows it."""

from __future__ import annotations

import math

import pytest

from lapheat.case.file import CaseError, case_to_toml, read_case_text
from lapheat.case.torch import efficiency_of_length, spot_of_length, voltage_of_length
from lapheat.study.chance.bench import inputs_of

MM = 1e-3
TEXT = """
tube = { outside_diameter = "1.5 in", wall = "0.065 in" }
flange = { thickness = "1/4 in", outside_diameter = "4 in" }
arc = { current = "70 A", length = "2.5 mm" }
travel = { speed = "2.5 mm/s", segment = "5/8 in", pause = "15 s" }
"""


@pytest.mark.parametrize(("current", "volts"), [(38.0, 7.5), (50.0, 8.0), (70.0, 8.5)])
def test_volts_of_a_short_arc(current: float, volts: float) -> None:
    """Kraus 1987, Weld. J. 66, 353-s: three beads on 1.5 mm 304 plate."""
    assert voltage_of_length(1.5 * MM, current) == pytest.approx(volts, abs=0.11)


def test_heat_an_ampere_hardly_follows_the_length() -> None:
    """A longer arc has more volts and passes less of them on: common practice, no source."""
    heat = [efficiency_of_length(x) * voltage_of_length(x, 70.0) for x in (1.5e-3, 2.5e-3, 4e-3)]
    assert heat == pytest.approx([7.1, 7.1, 7.1], abs=0.5)


def test_efficiency_inside_the_published_band() -> None:
    """0.73 to 0.82: Stenbacka, Choquet and Hurtig, IIW XII-2070-12 (2012)."""
    for length in (1.0 * MM, 2.0 * MM, 3.5 * MM):
        assert 0.73 <= efficiency_of_length(length) <= 0.82


def test_spot_between_the_remembered_ends() -> None:
    """1.5 to 3.6 mm for 2 to 9 mm at 100 to 280 A: Tsai and Eagar (1985), from memory."""
    assert spot_of_length(2.0 * MM, 100.0) == pytest.approx(1.5 * MM, rel=0.1)
    assert spot_of_length(9.0 * MM, 280.0) == pytest.approx(3.6 * MM, rel=0.1)


def test_what_is_left_out_follows_the_length() -> None:
    arc = read_case_text(TEXT, "stub").arc
    assert arc.derived == ("voltage", "efficiency", "spot")
    assert arc.voltage == pytest.approx(voltage_of_length(2.5 * MM, 70.0))
    assert arc.efficiency == pytest.approx(efficiency_of_length(2.5 * MM))
    assert arc.spot == pytest.approx(spot_of_length(2.5 * MM, 70.0))
    assert arc.voltage_at(40.0) == pytest.approx(voltage_of_length(2.5 * MM, 40.0))


def test_what_is_given_is_kept() -> None:
    arc = read_case_text(TEXT, "stub", ("arc.voltage=11 V", "arc.spot=2 mm")).arc
    assert (arc.voltage, arc.spot, arc.derived) == (11.0, 2.0 * MM, ("efficiency",))
    assert arc.voltage_at(40.0) == 11.0


def test_the_resolved_case_still_follows_the_length() -> None:
    case = read_case_text(TEXT, "stub", ("scale.spot=1.2",))
    text = case_to_toml(case)
    assert "# spot: " in text
    assert read_case_text(text, "stub") == case
    hotter = read_case_text(text, "stub", ("arc.current=90 A",)).arc
    assert hotter.spot == pytest.approx(1.2 * spot_of_length(2.5 * MM, 90.0))


def test_the_report_says_what_was_taken_and_within_what() -> None:
    (told,) = read_case_text(TEXT, "stub").assumed
    for part in ("2.5 mm", "9.33 V (8.53 to 10.1)", "0.77 (0.72 to 0.81)", "1.5 mm (1.1 to 1.8)"):
        assert part in told


def test_one_length_moves_volts_efficiency_and_spot_of_a_bench() -> None:
    keys = [entry.key for entry in inputs_of(read_case_text(TEXT, "stub"))]
    assert "arc.length" in keys
    assert {"scale.efficiency", "scale.spot"} <= set(keys)
    assert not {"arc.efficiency", "arc.spot"} & set(keys)
    given = read_case_text(TEXT.replace(', length = "2.5 mm"', ""), "stub")
    assert "arc.length" not in [entry.key for entry in inputs_of(given)]


def test_the_relation_is_less_sure_than_a_measured_spot() -> None:
    spots = {entry.name: entry for entry in inputs_of(read_case_text(TEXT, "stub"))}
    assert spots["spot"].spread.size == 0.25
    amount = read_case_text(TEXT, "stub", ("scatter.spot=0.3 mm",))
    spread = {entry.name: entry for entry in inputs_of(amount)}["spot"].spread
    assert spread.size == pytest.approx(0.3 * MM / amount.arc.spot)
    assert spread.way == "share"


@pytest.mark.parametrize(
    ("change", "key"),
    [
        ("arc.length=0 mm", "arc.length"),
        ("arc.length=40 mm", "arc.length"),
        ("arc.length=2 s", "arc.length"),
        ("scale.spot=9", "scale.spot"),
        ("scatter.work_angle=11 deg", "scatter.work_angle"),
        ("scatter.work_angle=20 K", "scatter.work_angle"),
    ],
)
def test_refused(change: str, key: str) -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(TEXT, "stub", (change,))
    assert [fault.key for fault in caught.value.faults] == [key]


def test_a_factor_on_nothing_is_refused() -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(TEXT, "stub", ("arc.spot=2 mm", "scale.spot=1.1"))
    assert caught.value.faults[0].key == "scale.spot"


def test_the_torchs_angle_varies_where_a_case_says_so() -> None:
    assert "work_angle" not in {entry.name for entry in inputs_of(read_case_text(TEXT, "stub"))}
    stray = read_case_text(TEXT, "stub", ("scatter.work_angle=5 deg",))
    (angle,) = (entry for entry in inputs_of(stray) if entry.name == "work_angle")
    with pytest.raises(CaseError, match="at most 6 deg"):
        read_case_text(TEXT, "stub", ("scatter.work_angle=7 deg", "arc.work_angle=76 deg"))
    assert angle.told == "45 deg, 95 % within 5 deg"
    assert angle.at(-1.959963985) == pytest.approx(math.radians(40.0))
    assert read_case_text(case_to_toml(stray), "stub") == stray


def test_a_hand_misjudges_what_it_holds() -> None:
    hand = read_case_text(TEXT, "stub", ("arc.control=pedal", "arc.hold=1250 degC"))
    told = {entry.name: entry for entry in inputs_of(hand)}
    assert told["hold"].told == "1250 degC, 95 % within 60 K"
    assert told["pedal_lag"].spread.way == "factor"
    assert told["hold"].at(1.959963985) == pytest.approx(1250.0 + 273.15 + 60.0)
    assert read_case_text(case_to_toml(hand), "stub") == hand
    steady = {entry.name for entry in inputs_of(read_case_text(TEXT, "stub"))}
    assert not {"hold", "pedal_lag"} & steady
