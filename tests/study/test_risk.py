"""Chances and drivers: of made-up benches with known answers, and of a small real one."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console
from scipy.stats import norm
from typer.testing import CliRunner

from lapheat.cli.app import app
from lapheat.cli.study.risk import told
from lapheat.march.errors import MarchError
from lapheat.study.chance.bench import HALF
from lapheat.study.risk.figure import RiskChart, RiskPanel
from lapheat.study.risk.figure import risk as draw
from lapheat.study.risk.files import risk_dict
from lapheat.study.risk.risk import Risk, RiskPlan, Sample, assess, plan_of, run_sample
from lapheat.study.risk.tasks import shares_from
from lapheat.study.runs import Processes, Source
from lapheat.study.runs.executors import Row
from study.benches import BASE_WEIGHTS, FILLER_WEIGHTS, MADE_UP, made_up, offsets
from study.stand_in import now, stood_in
from support.case_texts import BASE


def assessed(plan: RiskPlan, work: Callable[[Sample], Row] = made_up) -> Risk:
    return now(stood_in(assess(plan), {run_sample: work}))


@pytest.fixture(scope="module")
def plain() -> Risk:
    return assessed(plan_of(MADE_UP, "coarse", 128, seed=3, within=0.0))


def test_chances_are_counted_on_the_runs(plain: Risk) -> None:
    margins = np.array([row["margin_K"] for row in plain.rows], dtype=float)
    assert plain.base is not None
    assert plain.base.chance.hits == (margins < 0.0).sum() > 0
    assert plain.short.hits == (margins < 50.0).sum() > plain.base.chance.hits


def test_a_cold_joint_is_a_filler_that_fails_and_by_which_limit_is_counted() -> None:
    plan = plan_of(MADE_UP, "coarse", 64, seed=3, within=0.0)
    risk = assessed(plan, partial(made_up, slack=20.0))
    slacks = np.array([row["filler_slack_K"] for row in risk.rows], dtype=float)
    flat = np.array([row["filler_binding"] == "limits.wet_fraction" for row in risk.rows])
    wet, dry = ((flat & (slacks < 0.0)).sum(), (~flat & (slacks < 0.0)).sum())
    assert min(wet, dry) > 0
    assert risk.filler is not None
    assert risk.filler.chance.hits == wet + dry
    assert risk.filler_fails == {"limits.wet_fraction": wet, "limits.dry_length": dry}
    assert risk_dict(risk)["filler_cold"]["fails_by"] == risk.filler_fails
    console = Console(width=400)
    with console.capture() as captured:
        console.print(told(risk))
    said = f"too little of a side is wet in {wet}, a dry stretch is too long in {dry})"
    assert said in captured.get()


def test_interval_holds_the_exact_chance(plain: Risk) -> None:
    assert plain.base is not None
    assert plain.filler is not None
    for event, mean, weights in (
        (plain.base, 60.0, BASE_WEIGHTS),
        (plain.filler, 80.0, FILLER_WEIGHTS),
    ):
        exact = norm.cdf(-mean / np.sqrt(sum(w * w for w in weights.values())))
        low, high = event.chance.interval
        assert low <= exact <= high


def test_drivers_are_ranked_by_their_known_shares(plain: Risk) -> None:
    total = sum(w * w for w in BASE_WEIGHTS.values())
    first = plain.drivers[0]
    assert first.input.name == "current"
    assert plain.trusted
    weights = [driver.weight for driver in plain.drivers]
    assert weights == sorted(weights)[::-1]
    for driver in plain.drivers:
        weight = BASE_WEIGHTS.get(driver.input.name, 0.0)
        assert driver.base == pytest.approx((weight**2 / total,) * 2, abs=0.02)
        assert driver.base_slope == pytest.approx(HALF * weight, abs=0.1)


def test_round_off_neither_ranks_nor_signs_an_input(plain: Risk) -> None:
    """Another processor rounds otherwise; what has no share stands in the same order there."""
    assert plain.base is not None
    assert plain.base.shares is not None
    count = len(plain.plan.inputs)
    row: Row = {"q2": 1.0, "error": 0.1, "runs": 64, "failed": None}
    for name in ("first", "total"):
        row |= {f"{name}.{i}": (0.6 if i == 1 else (-1.0) ** i * 1e-7 * i) for i in range(count)}
    shares = shares_from(row, count)
    assert shares is not None
    assert [str(share) for share in shares.total] == ["0.0", "0.6", *["0.0"] * (count - 2)]
    noise = replace(plain.base, shares=shares, slopes=np.full(count, -0.3))
    risk = replace(plain, base=noise, filler=None)
    names = [item.name for item in plain.plan.inputs]
    assert [d.input.name for d in risk.drivers] == [names[1], *sorted(names[:1] + names[2:])]
    words = ("Base melts", "margin (K)", "melts", "stays solid", 50.0)
    measured = (noise.values, 0.1, (0.0, 0.2), tuple(names), shares, noise.slopes)
    figure = draw(RiskChart("Made up", (RiskPanel(*words, *measured),)))
    labels = [label.get_text() for axes in figure.axes for label in axes.get_yticklabels()]
    said = {text.get_text() for axes in figure.axes for text in axes.texts}
    assert "+0 K" in said
    assert "-0 K" not in said
    assert [label for label in labels if label in names][::-1] == [names[1], names[0], *names[2:]]


def test_same_seed_same_answer_and_another_seed_another(plain: Risk) -> None:
    again = assessed(plan_of(MADE_UP, "coarse", 128, seed=3, within=0.0))
    assert json.dumps(risk_dict(again)) == json.dumps(risk_dict(plain))
    other = assessed(plan_of(MADE_UP, "coarse", 16, seed=4))
    assert not np.array_equal(other.at, plain.at[:16])


def test_stops_when_both_chances_are_known_well_enough() -> None:
    safe = partial(made_up, margin=400.0, slack=400.0)
    plan = plan_of(MADE_UP, "coarse", 512, within=0.03)
    risk = assessed(plan, safe)
    # 0 of 64: from 0 to 5.7 %, by Wilson
    assert len(risk.rows) == 64
    assert risk.base is not None
    assert risk.base.chance.interval == pytest.approx((0.0, 0.0566), abs=1e-4)
    # the fitted response knows more: nothing of the scatter comes near, but 64
    # runs miss what happens 3 times in 64 once in twenty times
    assert risk.base.smooth.used
    assert (risk.base.smooth.low, risk.base.smooth.high) == pytest.approx((0.0, 3.0 / 64), abs=1e-4)
    assert len(assessed(plan_of(MADE_UP, "coarse", 256, within=0.02), safe).rows) == 128


def rough(sample: Sample) -> Row:
    """Row that no smooth surface explains."""
    noise = int(sample.key(), 16) % 1000
    return {"margin_K": 100.0 + noise, "filler_slack_K": 100.0 + noise % 37, "failed": None}


def test_shares_of_what_is_not_smooth_are_not_trusted() -> None:
    risk = assessed(plan_of(MADE_UP, "coarse", 128, within=0.05), rough)
    assert not risk.trusted
    assert len(risk.rows) == 128  # 64 were enough for the chances, but not for what drives them
    assert risk_dict(risk)["trusted"] is False
    assert risk_dict(risk)["base_melts"]["q2"] < 0.3


def failing(sample: Sample) -> Row:
    if offsets(sample)["spot"] > 1.5:
        return {"failed": "the computation failed: for a test"}
    return made_up(sample)


def test_without_a_run_there_is_no_chance() -> None:
    def none(sample: Sample) -> Row:
        del sample
        return {"failed": "the computation failed: for a test"}

    with pytest.raises(MarchError, match=r"no sample could be computed.*for a test"):
        assessed(plan_of(MADE_UP, "coarse", 64), none)


def test_success_is_what_neither_fails() -> None:
    risk = assessed(plan_of(MADE_UP, "coarse", 128))
    assert risk.base is not None
    assert risk.filler is not None
    least = max(risk.base.smooth.chance, risk.filler.smooth.chance)
    assert least - 0.01 <= risk.fails.chance
    assert risk.fails.chance <= risk.base.smooth.chance + risk.filler.smooth.chance + 0.01
    told = risk_dict(risk)["success"]
    assert told["chance"] == pytest.approx(1.0 - risk.fails.chance, abs=1e-5)
    assert told["low"] <= told["chance"] <= told["high"]


def test_a_run_that_failed_may_have_gone_either_way() -> None:
    risk = assessed(plan_of(MADE_UP, "coarse", 64, within=0.0), failing)
    assert 0 < risk.failed < 10
    assert risk.base is not None
    chance = risk.base.chance
    assert chance.count + chance.failed == 64
    low, high = chance.interval
    assert low < chance.hits / 64 < (chance.hits + chance.failed) / 64 < high


def by_detail(sample: Sample) -> Row:
    row = made_up(sample)
    assert isinstance(row["margin_K"], float)
    return {**row, "margin_K": row["margin_K"] - (20.0 if sample.trial.detail is None else 0.0)}


def test_the_chance_on_the_own_mesh_is_told_beside() -> None:
    source = Source(MADE_UP.text, MADE_UP.name, ('numerics.detail="standard"',))
    risk = assessed(plan_of(source, "coarse", 64, within=0.0), by_detail)
    assert risk.base is not None
    assert risk.base.difference == pytest.approx(-20.0)
    assert risk.base.shifted is not None
    assert risk.base.shifted.hits == (risk.base.values < 20.0).sum() > risk.base.chance.hits
    assert risk.filler is not None
    assert risk.filler.difference == 0.0
    assert risk.shifted is not None
    either = (risk.base.values < 20.0) | (risk.filler.values < 0.0)
    assert risk.shifted.hits == either.sum() > 0
    told = risk_dict(risk)["success_at_own_detail"]
    assert told["hits"] == 64 - either.sum()
    assert told["chance"] == pytest.approx(told["hits"] / 64)
    assert told["low"] < told["chance"] < told["high"]


def test_what_hangs_on_a_varied_value_stays_as_it_was() -> None:
    text = BASE.replace('leg = "3 mm"\n', "")  # twice the wall by default
    plan = plan_of(Source(text, "x"), "coarse", 16)
    case = plan.source.case(("tube.wall=1.8 mm",))
    assert case.fillet is not None
    assert case.fillet.leg == pytest.approx(3.3e-3)
    assert case.tube.wall == pytest.approx(1.8e-3)


TINY = """
joint = "bead-on-tube"
tube = { outside_diameter = "8 mm", wall = "1 mm", length = "20 mm" }
arc = { current = "20 A", voltage = "10 V", spot = "2 mm" }
travel = { speed = "5 mm/s", segment = "8 mm", pause = "1 s", coverage = 0.3 }
numerics = { detail = "coarse" }
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("risk")
    (folder / "tiny.toml").write_text(TINY)
    args = ["risk", str(folder / "tiny.toml"), "--samples", "16", "--seed", "5"]
    done = CliRunner().invoke(app, [*args, "--workers", "2"])
    assert done.exit_code == 0, done.output
    assert "base melts" in done.output
    assert "16 at coarse detail, seed 5" in done.output
    assert "the fit explains" in done.output
    return folder


def test_the_command_leaves_the_files_of_the_contract(folder: Path) -> None:
    out = folder / "tiny.risk"
    assert sorted(p.name for p in out.iterdir()) == [
        *("figures", "risk.csv", "risk.json", "rows.jsonl")
    ]
    assert (out / "figures" / "risk.png").stat().st_size > 10_000
    told = json.loads((out / "risk.json").read_text())
    assert (told["samples"], told["seed"], told["failed"]) == (16, 5, 0)
    assert 0.0 <= told["base_melts"]["low"] <= told["base_melts"]["chance"]
    assert told["base_melts"]["chance"] <= told["base_melts"]["high"] < 1.0
    assert told["filler_cold"] == {
        **dict.fromkeys(("chance", "low", "high"), 0.0),
        **dict.fromkeys(("hits", "runs"), 0),
        "possible": False,
    }
    assert {driver["input"] for driver in told["drivers"]} == {
        *("current", "efficiency", "spot", "speed", "wall", "conductivity", "emissivity")
    }
    assert all(set(d) >= {"input", "share_base", "share_filler"} for d in told["drivers"])
    assert told["inputs"][0]["told"] == "20 A, 95 % within 5 %"
    lines = (out / "risk.csv").read_text().splitlines()
    assert lines[0].startswith("arc.current [A],arc.efficiency,arc.spot [mm],travel.speed [mm/s],")
    assert len(lines) == 17


def test_more_heat_leaves_less_margin(folder: Path) -> None:
    told = json.loads((folder / "tiny.risk" / "risk.json").read_text())
    effect = {d["input"]: d["base_margin_K"] for d in told["drivers"]}
    assert effect["current"] < 0.0
    assert effect["efficiency"] < 0.0
    assert effect["spot"] > 0.0
    assert effect["speed"] > 0.0
    assert effect["wall"] > 0.0


def test_the_same_seed_gives_the_same_bytes_in_one_process(folder: Path) -> None:
    # in this process a library's threads may add up in another order: one worker of its own
    with Processes(1) as executor:
        plan = plan_of(Source.of(folder / "tiny.toml"), "coarse", 16, seed=5)
        risk = now(assess(plan), executor)
    assert risk_dict(risk) == json.loads((folder / "tiny.risk" / "risk.json").read_text())


def test_bad_options_are_refused(folder: Path) -> None:
    case = str(folder / "tiny.toml")
    for bad in (["--samples", "0"], ["--seed", "-1"], ["--within", "2"], ["--detail", "rough"]):
        done = CliRunner().invoke(app, ["risk", case, *bad])
        assert done.exit_code == 2, done.output
        assert bad[0] in done.output
