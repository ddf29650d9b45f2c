"""Levers and advice: which keys act, what is foretold, what is confirmed, what is said."""

from __future__ import annotations

import csv
import json
import sys
from collections.abc import Callable
from html import escape
from pathlib import Path

import numpy as np
import pytest

from lapheat.case.file import read_case_text
from lapheat.cli import main
from lapheat.cli.study import explain as command
from lapheat.cli.study.frame import Study
from lapheat.study.explain.explain import MEND, Explained, explain
from lapheat.study.explain.files import explain_dict
from lapheat.study.explain.groups import SPARE, TIME, groups_of
from lapheat.study.explain.levers import Lever, Setting, levers_of
from lapheat.study.explain.measures import run_explained, slacks
from lapheat.study.explain.model import Goal, Model, Move, Tried
from lapheat.study.explain.search import holds
from lapheat.study.explain.words import turned
from lapheat.study.runs import Source, Trial
from study.every_study import STUDIES
from study.every_study import turned as by_formula
from study.mended_joints import KEPT, source_of
from study.stand_in import now

TINY = Path(__file__).parent / "tiny.toml"
BEAD = """
joint = "bead-on-tube"
tube = { outside_diameter = "8 mm", wall = "1 mm", length = "12 mm" }
arc = { current = "12 A", spot = "2 mm" }
travel = { speed = "6 mm/s", segment = "9 mm", pause = "2 s" }
numerics = { detail = "coarse" }
bench = { current_range = ["5 A", "60 A"], speed_range = ["2 mm/s", "10 mm/s"] }
"""
PEDAL = ('arc.control="pedal"', 'travel.start="on-flow"')


def keys(*changes: str, **row: bool) -> set[str]:
    case = read_case_text(TINY.read_text("utf-8"), "tiny.toml", changes)
    return {lever.key for lever in levers_of(case, dict(row))}


@pytest.fixture(scope="module")
def found() -> dict[str, Explained]:
    names = ("explain", "explain what works", "explain what cannot work")
    return {name: now(STUDIES[name].planner()) for name in names}


# --- which keys act -----------------------------------------------------------------------------


def test_only_keys_that_act_are_levers() -> None:
    steady = keys()
    assert {"arc.current", "arc.aim", "arc.work_angle", "travel.dwell", "arc.spot"} <= steady
    assert not {"arc.hold", "travel.resume_below", "arc.length"} & steady
    pedal = keys(*PEDAL)
    assert "arc.hold" in pedal
    assert not {"arc.current", "travel.dwell", "travel.dwell_limit"} & pedal


def test_a_pedal_on_its_limit_is_helped_by_current_and_a_cold_start_by_waiting() -> None:
    assert "arc.current" in keys(*PEDAL, on_limit=True)
    assert "arc.current" not in keys(*PEDAL, 'arc.current_range=["20 A", "60 A"]', on_limit=True)
    assert "travel.dwell_limit" in keys(*PEDAL, cold_start=True)


def test_what_is_not_there_is_no_lever() -> None:
    assert "travel.segment" not in keys("travel.order=[1, 3, 2]")
    assert "travel.pause" not in keys("travel.segment=25.1327412287 mm")
    assert "arc.length" in keys("arc.length=3 mm")
    assert "travel.resume_below" in keys("travel.resume_below=200 degC")
    assert "fixture.bench_temperature" in keys(
        "fixture.bench_conductance=300 W/(m^2 K)", "fixture.bench_temperature=20 degC"
    )


def test_settings_are_in_the_unit_of_the_case() -> None:
    text = TINY.read_text("utf-8")
    case = read_case_text(text, "tiny.toml", ("travel.speed=7 in/min", "arc.aim=1/32 in"))
    told = {lever.key: lever for lever in levers_of(case, {})}
    assert [s.text for s in told["travel.speed"].sides()] == ["6.25 in/min", "7.75 in/min"]
    assert [s.text for s in told["arc.aim"].sides()] == ["1/64 in", "3/64 in"]
    assert [s.text for s in told["arc.current"].sides()] == ["38 A", "42 A"]


def test_segments_move_by_whole_numbers() -> None:
    case = read_case_text(TINY.read_text("utf-8"), "tiny.toml")
    (lever,) = (lever for lever in levers_of(case, {}) if lever.key == "travel.segment")
    around = case.tube.circumference
    counts = [round(around / setting.value) for setting in lever.settings]
    assert case.segment_count not in counts
    assert len(set(counts)) == len(counts)


# --- what is foretold ---------------------------------------------------------------------------


def lever(key: str) -> Lever:
    return Lever(key, Setting(0.0, "0"), tuple(Setting(u, f"{u}") for u in range(-9, 10) if u), 1.0)


ONE, OTHER = lever("one"), lever("other")


def truth(u: float, v: float) -> np.ndarray:
    """Two slacks, one that falls and one that rises, with a product; and a time."""
    return np.array([20.0 - 10.0 * u + 2.0 * v, -40.0 + 10.0 * u + 3.0 * v + u * v, 100.0 + v])


def known() -> Model:
    model = Model((ONE, OTHER), truth(0.0, 0.0))
    for u, v in ((-1, 0), (1, 0), (0, -1), (0, 1)):
        levers, settings = (
            ((ONE,), (Setting(u, f"{u}"),)) if u else ((OTHER,), (Setting(v, f"{v}"),))
        )
        model.tried.append(Tried(Move(levers, settings), truth(u, v)))
    return model


def test_a_straight_line_is_foretold() -> None:
    u = np.array([-7.0, -0.5, 0.0, 4.0])
    change = known().change(ONE, u)
    np.testing.assert_allclose(change, [truth(x, 0.0) - truth(0.0, 0.0) for x in u], atol=1e-9)


def test_one_run_of_a_pair_tells_how_they_meet() -> None:
    model = known()
    model.tried.append(Tried(Move((ONE, OTHER), (Setting(2, "2"), Setting(2, "2"))), truth(2, 2)))
    u, v = np.array([2.0, 2.5]), np.array([2.0, 3.0])
    met = model.meeting((ONE, OTHER), u, v)
    np.testing.assert_allclose(met[..., 1], np.multiply.outer(u, v), atol=1e-9)
    np.testing.assert_allclose(met[..., 0], 0.0, atol=1e-9)


def test_the_best_of_one_key_is_where_both_slacks_are_equal() -> None:
    """20 - 10 u and -40 + 10 u meet at u = 3, ten short; the other key helps both."""
    best = {move.levers[0].key: move for _, move in known().foretold(MEND, 1)}
    assert best["one"].inputs == (("one", "3"),)
    ((_, pair),) = known().foretold(Goal("limits", 1e3), 2)
    assert dict(pair.inputs)["other"] == "3"  # no farther than three times what was run


def test_a_side_that_failed_is_left_alone() -> None:
    model = known()
    failed = np.full(3, np.nan)
    model.tried = [
        t if t.move.moved.get("one") != 1.0 else Tried(t.move, failed) for t in model.tried
    ]
    assert all(setting.value < 0.0 for setting in model.open(ONE))


# --- advice -------------------------------------------------------------------------------------


def test_the_change_of_a_lever_is_that_of_its_run(found: dict[str, Explained]) -> None:
    told = explain_dict(found["explain"])
    (entry,) = (
        lever for lever in told["levers"]
        if lever["key"] == "arc.aim" and lever["finding"] == "filler.flange_side_surplus_K"
    )  # fmt: skip
    assert (entry["from"], entry["to"]) == ("0 mm", "0.5 mm")
    assert entry["change"]["tube_margin_K"] == pytest.approx(30.0)
    assert entry["gain"] == entry["change"]["flange_side_surplus_K"] == pytest.approx(12.5)
    assert entry["says"].startswith("aim 0.5 mm further to the flange: tube margin +30 K")


def test_advice_holds_where_it_was_confirmed(found: dict[str, Explained]) -> None:
    advice = found["explain"].advice[0]
    assert advice.works
    trial = Trial(Source.of(TINY), advice.inputs, None)
    assert holds(by_formula(trial))
    assert advice.row == by_formula(trial)  # on the case's own mesh, which runs cooler


def test_a_case_that_works_is_told_what_more_it_can(found: dict[str, Explained]) -> None:
    told = found["explain what works"]
    assert told.works
    assert [group.finding for group in groups_of(told)] == [SPARE, TIME]
    by_goal = {advice.goal: advice for advice in reversed(told.advice)}
    own = slacks(told.own, told.case).min()
    assert slacks(by_goal["margin"].row, told.case).min() > own
    assert by_goal["time"].row["total_s"] < told.own["total_s"]
    assert all(advice.works for advice in told.advice)


def test_it_says_so_where_nothing_mends_it(found: dict[str, Explained]) -> None:
    told = found["explain what cannot work"]
    (nearest,) = told.advice
    assert not nearest.works
    least = slacks(nearest.row, told.case).min()
    assert slacks(told.own, told.case).min() < least < 0.0


# --- in earnest ---------------------------------------------------------------------------------

Shown = Callable[..., str]


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shown:
    """Call the command line; what it shows."""

    def shown(*arguments: str) -> str:
        monkeypatch.setattr(sys, "argv", ["lapheat", *arguments])
        with pytest.raises(SystemExit) as ended:
            main()
        assert not ended.value.code
        return capsys.readouterr().out

    return shown


def test_the_advice_for_a_joint_holds_when_it_is_run() -> None:
    """The one of the twenty that took fewest runs, anew; what mends it is run apart."""
    kept = json.loads(KEPT.read_text("utf-8"))
    quickest = min((j for j in kept if j["advice"][0]["works"]), key=lambda j: j["runs"])
    source = source_of(quickest["joint"])
    advice = now(explain(source)).advice[0]
    assert not holds(run_explained(Trial(source, (), None)))
    assert holds(run_explained(Trial(source, advice.inputs, None)))


def test_the_command(call: Shown, tmp_path: Path) -> None:
    case = tmp_path / "tiny.toml"
    case.write_text(BEAD, "utf-8")
    shown = call("explain", str(case), "--workers", "1")
    folder = tmp_path / "tiny.explain"
    told = json.loads((folder / "explain.json").read_text("utf-8"))
    with (folder / "explain.csv").open() as lines:
        assert len(list(csv.DictReader(lines))) == len(told["levers"]) > 0
    assert (folder / "figures" / "levers.png").stat().st_size > 5000
    assert {"findings", "levers", "advice"} <= set(told)
    for advice in told["advice"]:
        for key, text in advice["inputs"].items():
            assert f'--set "{key}={text}"' in shown
    assert "As it is, at coarse detail, " in shown
    assert ("lapheat risk, with the same --set" in shown) is bool(told["advice"])
    assert "Cautions" in shown
    shown = call("run", str(case))
    report = (tmp_path / "tiny.out" / "report.html").read_text("utf-8")
    assert "<h2>What to change</h2>" in report
    assert "Not computed: lapheat explain" not in report
    assert ("What to change" in shown) is bool(told["advice"])
    for advice in told["advice"]:
        assert f"{advice['head']}: {advice['says']}." in shown
        assert f"{escape(advice['head'])}: {escape(advice['says'])}." in report
    for lever in told["levers"]:
        assert f"<td>{escape(lever['says'])}</td>" in report


def test_a_run_explains_first_where_asked(
    call: Shown, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = tmp_path / "tiny.toml"
    case.write_text(BEAD, "utf-8")
    asked: list[Study] = []
    monkeypatch.setattr(command, "carry_out", asked.append)
    call("run", str(case), "--explain", "--set", "arc.current=13 A")
    assert [(a.ends, a.file, a.changes) for a in asked] == [
        ("explain", case, ("arc.current=13 A",))
    ]


def test_a_run_that_fails_names_the_command(call: Shown, tmp_path: Path) -> None:
    case = tmp_path / "tiny.toml"
    case.write_text(TINY.read_text("utf-8").replace('"standard"', '"coarse"'), "utf-8")
    last = call("run", str(case), "--set", "arc.current=15 A").rstrip().splitlines()[-1]
    assert last == f'What to change: lapheat explain {case} --set "arc.current=15 A"'


@pytest.mark.parametrize(
    ("key", "before", "after", "words"),
    [
        ("arc.aim", "0.4 mm", "1 mm", "aim 0.6 mm further to the flange"),
        ("arc.aim", "1/32 in", "1/64 in", "aim 1/64 in further to the tube"),
        ("arc.hold", "1290 degC", "1270 degC", "hold 20 K cooler"),
        ("arc.hold", "2350 degF", "2400 degF", "hold 50 degF hotter"),
        ("travel.segment", "1/2 in", "9/16 in", "segments 1/16 in longer"),
        ("travel.speed", "2 mm/s", "2.2 mm/s", "travel 0.2 mm/s faster"),
        ("surroundings.temperature", "20 degC", "70 degC", "work and air 50 K hotter"),
    ],
)
def test_words(key: str, before: str, after: str, words: str) -> None:
    assert turned(key, before, after) == words
