"""Words people use at the bench: alloys, gauges, speeds, keys."""

from __future__ import annotations

import pytest

from lapheat.case.alloys import builtin_name, builtin_names, trade_names
from lapheat.case.file import CaseError, case_to_toml, read_case_text
from lapheat.case.keys.gauge import BWG

TEXT = """
tube = { outside_diameter = "1.5 in", wall = "0.065 in" }
flange = { thickness = "1/4 in", outside_diameter = "4 in" }
arc = { current = "70 A" }
travel = { speed = "2.5 mm/s", segment = "5/8 in", pause = "15 s" }
"""


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("mild steel", "low-carbon steel"),
        ("A36", "low-carbon steel"),
        ("ASTM A36", "low-carbon steel"),
        ("S235", "low-carbon steel"),
        ("1.4307", "304L"),
        ("UNS S30403", "304L"),
        ("AISI 304L", "304L"),
        ("304L stainless", "304L"),
        ("304 stainless steel", "304"),
        ("1.4301", "304"),
        ("silicon bronze", "CuSi3Mn1"),
        ("Silicon Bronze", "CuSi3Mn1"),
        ("ERCuSi-A", "CuSi3Mn1"),
        ("aluminum", "aluminium"),
    ],
)
def test_an_alloy_by_the_name_people_use(said: str, meant: str) -> None:
    """UNS, EN and AWS designations: from memory."""
    assert builtin_name(said) == meant


def test_no_name_means_two_alloys() -> None:
    every = [*builtin_names(), *trade_names()]
    assert len({name.casefold() for name in every}) == len(every)
    for name in builtin_names():
        assert builtin_name(name) == name


@pytest.mark.parametrize("said", ["stainless", "steel", "bronze", "", "A", "30", "unobtainium"])
def test_a_vague_name_means_none(said: str) -> None:
    assert builtin_name(said) is None


def test_a_case_takes_them() -> None:
    changes = ("tube.alloy=1.4307", "flange.alloy=mild steel", "fillet.filler=ERCuSi-A")
    case = read_case_text(TEXT, "stub", changes)
    assert case == read_case_text(TEXT, "stub")
    assert read_case_text(case_to_toml(case), "stub") == case


def test_an_alloy_of_the_users_own_comes_first() -> None:
    own = """
    [alloys."mild steel"]
    density = "7800 kg/m^3"
    conductivity = "50 W/(m K)"
    specific_heat = "500 J/(kg K)"
    emissivity = 0.5
    """
    case = read_case_text(TEXT + own, "stub", ("flange.alloy=mild steel",))
    assert case.alloys["mild steel"].density == 7800.0


def test_a_near_name_is_hinted_at() -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(TEXT, "stub", ("flange.alloy=mild stel",))
    assert "mild steel" in caught.value.faults[0].hint


@pytest.mark.parametrize("said", ["18 ga", "18ga", "18 gauge", "18 BWG"])
def test_a_wall_by_gauge(said: str) -> None:
    """BWG 18 is 0.049 in: tube makers' lists, from memory."""
    case = read_case_text(TEXT, "stub", (f"tube.wall={said}",))
    assert case.tube.wall == pytest.approx(0.049 * 0.0254)
    assert any("BWG 18, 0.049 in" in line for line in case.assumed)


def test_gauges_fall() -> None:
    walls = [BWG[gauge] for gauge in sorted(BWG)]
    assert walls == sorted(walls, reverse=True)


def test_an_unknown_gauge_is_refused() -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(TEXT, "stub", ("tube.wall=60 ga",))
    assert "BWG 4 to 26" in caught.value.faults[0].hint


def test_inches_a_minute() -> None:
    case = read_case_text(TEXT, "stub", ("travel.speed=5 ipm",))
    assert case.travel.speed == pytest.approx(5.0 * 0.0254 / 60.0)


@pytest.mark.parametrize(
    ("key", "hint"),
    [
        ("travel.interpass", "travel.resume_below"),
        ("arc.gap", "arc.length"),
        ("arc.arc_gap", "arc.length"),
        ("arc.heat_input", "arc.current"),
        ("travel.cooldown", "travel.pause"),
        ("arc.amps", "arc.current"),
        ("tube.od", "outside_diameter"),
    ],
)
def test_a_word_of_the_trade_leads_to_its_key(key: str, hint: str) -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(TEXT, "stub", (f"{key}=5 mm",))
    assert hint in caught.value.faults[0].hint


@pytest.mark.parametrize("unit", ["mm^9^9^9", "mm**9**9", "mm**(9)**9", "(mm^9)^9"])
def test_a_tower_of_powers_is_refused_at_once(unit: str) -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(TEXT, "stub", (f"tube.wall=12 {unit}",))
    assert "is not a unit" in caught.value.faults[0].hint


# --- settings that cannot do what they are meant to -----------------------------------------------


@pytest.mark.parametrize(
    ("changes", "part"),
    [
        (("arc.control=pedal", "arc.hold=900 degC"), "no start will flow"),
        (("arc.control=pedal", "arc.hold=1380 degC"), "the tube less than limits.base_margin"),
        (("travel.start=on-flow", "travel.dwell=3 s"), "travel.dwell has no effect"),
    ],
)
def test_a_hand_that_cannot_work_is_noted(changes: tuple[str, ...], part: str) -> None:
    told = read_case_text(TEXT, "stub", changes).assumed
    assert any(part in line for line in told)
    assert not any(part in line for line in read_case_text(TEXT, "stub").assumed)


QUICK = "travel.speed=4 mm/s"


def test_a_pedal_goes_down_no_further_than_melts_the_rod() -> None:
    """Its usual range begins at 0.3 x current, which would not melt this rod at 45 A."""
    case = read_case_text(TEXT, "stub", ("arc.control=pedal", "arc.current=45 A", QUICK))
    low, high = case.arc.current_range
    assert high == pytest.approx(1.3 * 45.0)
    assert low > 0.3 * 45.0
    assert case.arc.power_at(low) == pytest.approx(1.1 * case.rod_power, rel=0.02)
    hot = read_case_text(TEXT, "stub", ("arc.control=pedal", "arc.current=180 A", QUICK))
    assert hot.arc.current_range == pytest.approx((54.0, 234.0))
