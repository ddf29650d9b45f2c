"""What the page shows of an answer is what the sheet and the report say."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lapheat.api import Result
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Verdict
from lapheat.outcomes.verdict import judge
from lapheat.page.view import _numbers
from lapheat.study.runs.slacks import LABELS
from support.runs import STAINLESS_SOLIDUS, run_with

Rows = dict[str, tuple[str, str, str]]


def numbers(result: Result) -> Rows:
    return {row["name"]: (row["value"], row["wanted"], row["state"]) for row in _numbers(result)}


@pytest.mark.parametrize(
    ("margin", "state"), [(57.0, "close"), (150.0, "holds"), (-750.0, "fails")]
)
def test_a_margin_is_held_against_its_limit_and_its_uncertainty(margin: float, state: str) -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - margin, flange=1200.0)
    outcomes = outcomes_of(run)
    judged = judge(run, uncertainty={"tube.margin_K": 10.4})
    outcomes = replace(outcomes, verdict=Verdict.of(judged))
    told = numbers(Result(run.case, run, outcomes))
    assert told["Tube margin"] == (f"{margin:.0f} K", "at least 50 K", state)
    assert judged.undecided is (state == "close")


def test_every_limit_that_is_given_stands_beside_its_outcome() -> None:
    case = run_with().case
    limits = replace(case.limits, filler_superheat=10.0, lap_filled=0.4)
    run = run_with(case={"limits": limits})
    told = numbers(Result(run.case, run, outcomes_of(run)))
    names = [name[0].upper() + name[1:] for name in LABELS.values()]
    assert list(told)[: len(names)] == names
    assert told["Filler superheat"][1] == "at most 10 K"
    assert told["Lap filled"][1] == "at least 40 %"
    for name in names:
        assert told[name][2] in ("holds", "fails")
    free = replace(limits, filler_superheat=None, lap_filled=0.0)
    run = run_with(case={"limits": free})
    told = numbers(Result(run.case, run, outcomes_of(run)))
    assert told["Filler superheat"][1:] == told["Lap filled"][1:] == ("", "")
