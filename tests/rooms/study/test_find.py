"""`find`: what it turns, how it rounds, and whether its search finds what is there.

The search runs on a joint made of formulas, whose chances can be counted at leisure.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from lapheat.case.file import CaseError
from lapheat.case.units import read_quantity
from lapheat.study.chance.bench import points
from lapheat.study.find import seek as module
from lapheat.study.find.knobs import KEYS, knobs_of
from lapheat.study.find.model import measures
from lapheat.study.find.seek import Effort, FindPlan, Found, Pick, plan_of, seek
from lapheat.study.find.space import space_of
from lapheat.study.runs import RowFile, Serial, Source, drive
from support.formula_joint import TEXT, formulas

INCHES = (
    TEXT.replace("38 mm", "1.5 in").replace("[arc]", "[arc]")
    + 'surroundings = { temperature = "70 degF" }\n'
)


SMALL = Effort(first=32, rounds=2, looks=12, fresh=48, candidates=512)


def source(text: str = TEXT) -> Source:
    return Source(text, "stub.toml")


# --- knobs --------------------------------------------------------------------------------------


def knob(key: str, text: str = TEXT) -> Any:
    return next(k for k in knobs_of(source(text).case()) if k.key == key)


@pytest.mark.parametrize(
    ("key", "value", "setting"),
    [
        ("arc.current", 71.4, "71 A"),
        ("arc.aim", 1.26e-3, "1.5 mm"),
        ("arc.aim", -0.26e-3, "-0.5 mm"),
        ("travel.speed", 2.04e-3, "2 mm/s"),
        ("travel.segment", 12.4e-3, "12 mm"),
        ("travel.pause", 7.6, "8 s"),
        ("arc.hold", 1531.0, "1260 degC"),
    ],
)
def test_a_setting_is_one_a_person_can_make(key: str, value: float, setting: str) -> None:
    assert knob(key).setting(value) == setting


@pytest.mark.parametrize(
    ("key", "value", "setting"),
    [
        ("arc.aim", 1.26e-3, "3/64 in"),
        ("arc.aim", -0.5e-3, "-1/64 in"),
        ("travel.segment", 30.3e-3, "1 3/16 in"),
        ("travel.speed", 2.04e-3, "4.75 in/min"),
        ("arc.hold", 1531.0, "2300 degF"),
    ],
)
def test_a_setting_is_in_the_shops_own_units(key: str, value: float, setting: str) -> None:
    found = knob(key, INCHES)
    assert found.setting(value) == setting
    assert read_quantity(setting, found.kind) == pytest.approx(value, rel=0.05, abs=2e-4)


def test_settings_stay_inside_the_range() -> None:
    for found in knobs_of(source().case()):
        for share in (0.0, 0.3, 1.0):
            value, text = found.settable(found.value(share))
            assert found.low * (1 - 1e-9) - 1e-12 <= value <= found.high * (1 + 1e-9) + 1e-12
            assert read_quantity(text, found.kind) == value


@pytest.mark.parametrize("text", [TEXT, INCHES])
def test_a_setting_rounded_again_is_the_same(text: str) -> None:
    """What is fitted must be what was run: 16 mm closes a 38 mm ring by 8, as does 15 mm."""
    space = space_of(source(text), "pedal", knobs_of(source(text).case()))
    for row in np.random.default_rng(3).random((40, len(space.knobs))):
        shares, texts = space.settable(row)
        again, texts_again = space.settable(shares)
        assert texts_again == texts
        np.testing.assert_array_equal(again, shares)


def test_a_bead_and_a_list_of_segments_cannot_be_searched() -> None:
    bead = """
    joint = "bead-on-tube"
    tube = { outside_diameter = "8 mm", wall = "1 mm", length = "20 mm" }
    arc = { current = "37 A" }
    travel = { speed = "5 mm/s", segment = "8 mm", pause = "1 s" }
    """
    with pytest.raises(CaseError, match="flange and filler"):
        knobs_of(source(bead).case())
    listed = source().case(("travel.order=[1,3,5,7,9,2,4,6,8,10]",))
    with pytest.raises(CaseError, match="named order"):
        knobs_of(listed)
    assert knobs_of(listed, "", "travel.segment")


def test_a_pick_must_keep_the_limits_of_its_case() -> None:
    plan = plan_of(source(), 0.9)
    pick = Pick(
        "pedal", (), 0.95, 0.8, 0.99, 100.0, {"base_stays_solid": False, "filler_flows": True}, 48
    )
    assert not module._good(pick, plan)
    assert module._good(
        replace(pick, confirmed={"base_stays_solid": True, "filler_flows": True}), plan
    )


def test_runs_without_a_result_are_unknown_and_weak_arcs_are_cold() -> None:
    rows = [
        {"failed": "refused: ...", "refused": "arc.current"},
        {"failed": "refused: ...", "refused": "travel.segment"},
        {"failed": "the computation failed: ..."},
        {"failed": None, "margin_K": 20.0, "filler_slack_K": -3.0, "total_s": 80.0},
    ]
    base, filler, time = measures(rows)
    np.testing.assert_array_equal(np.isfinite(base), [True, False, False, True])
    assert filler[0] < 0.0 < base[0]
    np.testing.assert_array_equal(np.isfinite(time), [False, False, False, True])


def test_free_and_fix() -> None:
    case = source().case()
    assert [k.key for k in knobs_of(case)] == list(KEYS)
    assert [k.key for k in knobs_of(case, "arc.aim,arc.current")] == ["arc.current", "arc.aim"]
    assert "travel.pause" not in [k.key for k in knobs_of(case, "", "travel.pause")]
    (current,) = knobs_of(case, "arc.current=50 A:60 A")
    assert (current.low, current.high) == (50.0, 60.0)


@pytest.mark.parametrize(
    ("free", "fix", "keys"),
    [
        ("arc.curent,travel.paws", "", {"arc.curent", "travel.paws"}),
        ("tube.wall", "", {"tube.wall"}),
        ("", "arc.spott", {"arc.spott"}),
        ("arc.aim", "arc.aim", {"arc.aim"}),
        ("arc.current=60 A:50 A", "", {"arc.current"}),
    ],
)
def test_bad_keys_are_told_at_once(free: str, fix: str, keys: set[str]) -> None:
    with pytest.raises(CaseError) as caught:
        knobs_of(source().case(), free, fix)
    assert {fault.key for fault in caught.value.faults} == keys


def test_a_bad_bench_table_is_told_at_once() -> None:
    line = next(line for line in TEXT.split("\n") if line.startswith("bench"))
    wrong = 'bench = { hand = "peddle", current_range = ["90 A", "40 A"], segmant = 3 }'
    bad = TEXT.replace(line, wrong)
    with pytest.raises(CaseError) as caught:
        source(bad).case()
    assert {f.key for f in caught.value.faults} == {
        "bench.hand", "bench.current_range", "bench.segmant",
    }  # fmt: skip
    assert any("pedal" in fault.hint for fault in caught.value.faults)


# --- the search ---------------------------------------------------------------------------------


def search(monkeypatch: pytest.MonkeyPatch, text: str = TEXT, sure: float = 0.9) -> Found:
    monkeypatch.setattr(module, "run_trial", formulas)
    plan = replace(plan_of(source(text), sure), effort=SMALL)
    return drive(seek(plan), Serial(), RowFile(None))


def counted(plan: FindPlan, inputs: tuple[tuple[str, str], ...], hand: str, benches: int) -> float:
    """Chance of a setting, counted."""
    space = space_of(plan.source, hand, plan.knobs)
    own = tuple((key, text) for key, text in inputs if key in {k.key for k in space.knobs})
    good = 0
    for bench in points(benches, len(space.inputs), 77):
        row = formulas(space.trial(own, bench, "coarse"))
        good += float(row["margin_K"] or 0) > 0.0 and float(row["filler_slack_K"] or 0) >= 0.0
    return good / benches


def test_it_finds_a_setting_that_survives(monkeypatch: pytest.MonkeyPatch) -> None:
    found = search(monkeypatch)
    assert found.pick is not None
    assert found.pick.chance >= 0.9
    chance = counted(found.plan, found.pick.inputs, found.pick.hand, 1024)
    assert found.pick.low - 0.01 <= chance <= found.pick.high + 0.01


def test_no_setting_of_a_grid_is_much_quicker(monkeypatch: pytest.MonkeyPatch) -> None:
    """Speed, hold and pause on a grid, aim where the formulas are best: counted chances."""
    found = search(monkeypatch)
    assert found.pick is not None
    best = np.inf
    for speed in ("1.6 mm/s", "2 mm/s", "2.4 mm/s", "2.8 mm/s", "3.2 mm/s"):
        for hold in ("1210 degC", "1240 degC", "1270 degC", "1300 degC", "1330 degC"):
            inputs = (("arc.current", "70 A"), ("arc.aim", "1 mm"), ("arc.hold", hold),
                      ("travel.speed", speed), ("travel.segment", "12 mm"),
                      ("travel.pause", "2 s"))  # fmt: skip
            if counted(found.plan, inputs, "pedal", 64) >= 0.9:
                best = min(best, 120.0 / float(speed.split()[0]) + 16.0)
    assert found.pick.time <= 1.25 * best


def test_it_says_so_where_nothing_is_sure_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    wild = TEXT + 'scatter = { hold = "250 K" }\n'
    found = search(monkeypatch, wild)
    assert found.pick is None
    assert "nothing found came to 90 %" in found.why
    assert found.picks[0].chance < 0.9
    assert found.binding in ("base", "limits.wet_fraction")


def test_the_same_seed_finds_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    one, other = search(monkeypatch), search(monkeypatch)
    assert one.picks == other.picks
