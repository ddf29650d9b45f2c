"""What the page shows of an answer is what the sheet and the report say."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from lapheat.api import Result, converge
from lapheat.case.file import read_case
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Verdict
from lapheat.outcomes.verdict import judge
from lapheat.page.app import BROWSER
from lapheat.page.form import form
from lapheat.page.view import _numbers
from lapheat.page.words import PHRASES, in_page
from lapheat.study.runs.slacks import LABELS
from support.runs import STAINLESS_SOLIDUS, run_with

ROOT = Path(__file__).parents[2]
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


def test_uncertainty_stands_beside_a_margin() -> None:
    result = converge(read_case(ROOT / "tests/study/tiny.toml"))
    assert result.convergence is not None
    rows = {row["name"]: row for row in _numbers(result)}
    found = result.convergence.uncertainty["tube.margin_K"]
    assert rows["Tube margin"]["unsure"] == f"{found:.0f} K"
    assert rows["Whole time"]["unsure"] == ""


def test_the_page_speaks_of_its_own_fields() -> None:
    program = "\n".join(path.read_text("utf-8") for path in (ROOT / "sim/lapheat").rglob("*.py"))
    ours = (ROOT / "sim/lapheat/page/words.py").read_text("utf-8")
    shown = "".join(item.read_text("utf-8").lower() for item in BROWSER.iterdir())
    for said, here in PHRASES.items():
        assert program.count(said) > ours.count(said)  # the program still says it
        assert in_page(f"x {said} y") == f"x {here} y"
        for field in re.findall("“([^”]+)”", here):
            assert field.lower() in shown
    helps = [field["help"] for table in form() for field in table["fields"]]
    assert not any("--" in text or "[alloys" in text for text in helps)


def test_a_field_offers_what_can_stand_in_it() -> None:
    choices = {field["key"]: field["choices"] for table in form() for field in table["fields"]}
    assert choices["fillet.filler"] == ["CuSi3Mn1"]
    assert "CuSi3Mn1" not in choices["tube.alloy"] + choices["flange.alloy"]
    assert {"304L", "low-carbon steel"} <= set(choices["tube.alloy"])
