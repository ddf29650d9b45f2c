"""The pick of a small `find` against all settings of a grid, kept by `grid_of_find.py`."""

from __future__ import annotations

import json
from typing import Any

import pytest

from lapheat.study.chance.bench import wilson
from lapheat.study.runs import Trial, run_trial
from study.grid_of_find import BENCHES, FREE, KEPT, SIDE, SURE, plan

NEEDED = 58  # of 64 benches, for 90 %


@pytest.fixture(scope="module")
def kept() -> dict[str, Any]:
    found: dict[str, Any] = json.loads(KEPT.read_text("utf-8"))
    return found


def allowed(kept: dict[str, Any], entry: dict[str, Any]) -> bool:
    """Whether the case as it is keeps its margins, and is quicker than the pick."""
    keeps = entry["margin_K"] >= kept["wanted_margin_K"] and entry["slack_K"] >= 0.0
    return bool(keeps and entry["total_s"] < kept["find"]["pick"]["total_s"])


def test_the_whole_grid_is_there_and_what_could_be_better_was_run(kept: dict[str, Any]) -> None:
    assert len({tuple(entry["at"]) for entry in kept["grid"]}) == len(kept["grid"]) == SIDE**3
    assert kept["keys"] == sorted(FREE.split(","), key=kept["keys"].index)
    assert kept["find"]["sure"] == SURE
    for entry in kept["grid"]:
        assert ("ran" in entry) is allowed(kept, entry)
        if "ran" in entry:
            fails = entry["ran"] - entry["good"]
            # all were run, or so many fail that 58 of 64 are out of reach
            assert entry["ran"] == BENCHES or fails == BENCHES - NEEDED + 1


def test_no_setting_of_the_grid_beats_the_pick(kept: dict[str, Any]) -> None:
    """None that is quicker lies above the pick's interval, or at the wanted chance with its own."""
    high = kept["find"]["pick"]["high"]
    surer = [e for e in kept["grid"] if e.get("good", 0) / BENCHES > high]
    better = [e for e in kept["grid"] if wilson(e.get("good", 0), BENCHES)[0] >= SURE]
    assert surer == better == []


def test_the_pick_reaches_on_other_benches_what_it_says(kept: dict[str, Any]) -> None:
    pick = kept["find"]["pick"]
    assert pick["low"] <= kept["pick_of_64"] / BENCHES <= pick["high"]
    assert pick["benches"] >= 48


def test_what_is_kept_is_still_what_the_program_computes(kept: dict[str, Any]) -> None:
    entry = next(entry for entry in kept["grid"] if "ran" in entry)
    inputs = dict(kept["find"]["pick"]["inputs"]) | dict(
        zip(kept["keys"], entry["at"], strict=True)
    )
    row = run_trial(Trial(plan().source, tuple(inputs.items())))
    # a few kelvin: a finer mesh in other places moves a coarse run by as much
    assert row["margin_K"] == pytest.approx(entry["margin_K"], abs=5.0)
    assert row["filler_slack_K"] == pytest.approx(entry["slack_K"], abs=5.0)
