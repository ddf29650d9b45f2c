"""Keys chosen anew at each point: how near the best a few runs come, and where it stands."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from lapheat.study.runs import Row, RowFile, Source, Trial
from lapheat.study.runs.axes import free_axes, given_axes
from lapheat.study.window.files import window_dict, write_window
from lapheat.study.window.map import WindowPlan
from lapheat.study.window.search import FreeTrial, measures, run_free, start_of, worst_of
from lapheat.study.window.window import window_of
from study.full_map import CASE as DEMO
from study.full_map import STEADY
from study.stand_in import balanced as joint
from study.stand_in import by_formula, given, now, stood_in

SOURCE = Source.of(DEMO, STEADY)
CASE = SOURCE.case()
FREE = "arc.current=40 A:100 A,arc.aim=-2 mm:4 mm"


class Counted:
    """Trials that a search makes, each with a row by formula."""

    def __init__(self, formula: Callable[[Trial], Row] = joint) -> None:
        self.formula, self.made = formula, list[Trial]()

    def __call__(self, trial: Trial) -> Row:
        self.made.append(trial)
        return self.formula(trial)


def searched(free: str, run: Callable[[Trial], Row], pause: str = "15 s") -> Row:
    axes = free_axes(free, CASE)
    trial = Trial(SOURCE, (("travel.pause", pause),))
    return run_free(FreeTrial(trial, axes, start_of(CASE, axes)), run)


def best(pause: str, score: Callable[[Row], float] = worst_of) -> float:
    """Best of all currents and aims, by trying them."""
    inputs = [
        (("travel.pause", pause), ("arc.current", f"{a} A"), ("arc.aim", f"{b} mm"))
        for a in np.linspace(47.0, 100.0, 160)
        for b in np.linspace(-2.0, 4.0, 61)
    ]
    return max(score(joint(Trial(SOURCE, one))) for one in inputs)


@pytest.mark.parametrize("pause", ["5 s", "15 s", "35 s"])
def test_two_free_keys_come_near_the_best_in_few_runs(pause: str) -> None:
    runs = Counted()
    row = searched(FREE, runs, pause)
    assert len(runs.made) <= 7
    assert worst_of(row) == pytest.approx(best(pause), abs=3.0)
    chosen = (
        ("travel.pause", pause),
        *((key, str(row[key])) for key in ("arc.current", "arc.aim")),
    )
    assert worst_of(joint(Trial(SOURCE, chosen))) == worst_of(row)  # the texts are the run's own


def test_one_free_key_balances_base_and_filler() -> None:
    runs = Counted()
    row = searched("arc.current=40 A:100 A", runs)
    assert len(runs.made) <= 5
    assert row.keys() >= {"arc.current"}
    base, filler = float(row["base_slack_K"] or 0.0), float(row["filler_slack_K"] or 0.0)
    assert base == pytest.approx(filler, abs=4.0)


def test_a_search_keeps_to_its_range() -> None:
    runs = Counted()
    row = searched("arc.current=66 A:68 A", runs)
    currents = [float(dict(trial.inputs)["arc.current"].split()[0]) for trial in runs.made]
    assert min(currents) >= 66.0
    assert max(currents) <= 68.0
    assert worst_of(row) >= worst_of(joint(runs.made[0]))


def test_a_search_that_cannot_start_is_a_failed_row() -> None:
    runs = Counted()
    row = searched("arc.current=40 A:45 A", runs)  # begins in the middle: 66 A is outside
    assert [dict(trial.inputs)["arc.current"] for trial in runs.made] == ["42.5 A"]
    assert row == {"failed": "the computation failed: too cold"}
    assert worst_of(row) == -np.inf


def test_measures_of_a_joint_that_cannot_fail_are_infinite() -> None:
    row: Row = {"failed": None, "tube_margin_K": 80.0, "margin_K": 80.0, "base_slack_K": 30.0}
    assert measures(row).tolist() == [30.0, np.inf, np.inf, np.inf, np.inf]


def test_a_limit_of_the_filler_as_a_whole_counts_beside_its_sides() -> None:
    row: Row = {"tube_side_slack_K": 40.0, "flange_side_slack_K": 60.0, "filler_slack_K": -5.0}
    assert measures(row).tolist() == [np.inf, np.inf, 40.0, 60.0, -5.0]
    assert worst_of({**row, "failed": None}) == -5.0


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("melts", [True, False])
def test_a_search_stands_a_bead_and_one_that_nothing_can_fail(melts: bool) -> None:
    made: list[float] = []

    def bead(trial: Trial) -> Row:
        current = given(trial, "arc.current", 66.0)
        made.append(current)
        margin = 4.0 * (90.0 - current) if melts else None
        slack = None if margin is None else margin - 50.0
        row: Row = {"tube_margin_K": margin, "margin_K": margin, "base_slack_K": slack}
        return {**row, "failed": None}

    row = searched("arc.current=40 A:100 A", bead)
    if melts:
        assert row["arc.current"] == "40 A"  # nothing asks for heat
        assert worst_of(row) == pytest.approx(150.0)
    else:
        assert row["arc.current"] == f"{made[0]:g} A"
        assert made == pytest.approx([66.0, 66.0 + 0.08 * 60.0], abs=0.1)  # its own, a step aside


def test_a_window_with_free_keys_tells_what_was_chosen(tmp_path: Path) -> None:
    axes = given_axes(["travel.segment=8 mm:20 mm:3", "travel.pause=5 s:60 s:3"], CASE)
    plan = WindowPlan(SOURCE, axes, free_axes(FREE, CASE, axes))
    store = RowFile()
    window = now(stood_in(window_of(plan), by_formula(joint)), store=store)
    told = window_dict(window)
    keys = ["travel.segment", "travel.pause", "arc.current", "arc.aim"]
    assert all(list(run["inputs"]) == keys for run in told["runs"])
    assert [entry["key"] for entry in told["free"]] == keys[2:]
    assert window.pick.run is not None
    assert list(told["pick"]["inputs"]) == keys
    assert told["pick"]["confirmed"]["filler_flows"] is True
    files = write_window(window, tmp_path / "out", store)
    head = files[1].read_text("utf-8").splitlines()[0]
    assert head.startswith("travel.segment [mm],travel.pause [s],arc.current [A],arc.aim [mm],")
    assert len({run["inputs"]["arc.aim"] for run in told["runs"]}) >= 3  # it follows the pause
