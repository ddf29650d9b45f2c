"""Rows of trials: the slack of the filler, and the limit that leaves it least."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from invariance.small import SMALL, text_of
from lapheat.study.calibration.caliper.tracks import BeadRun
from lapheat.study.chance.samples import Sample
from lapheat.study.explain.measures import run_explained
from lapheat.study.runs import Row, RowFile, Serial, Source, Trial, run_trial
from lapheat.study.runs.executors import Work
from lapheat.study.runs.standing import FAILS, standing
from lapheat.study.runs.store import Keyed, collect
from lapheat.study.sequences.orders import run_order
from study.benches import TINY
from study.stand_in import made_row
from study.test_sequences import BEAD, JOINT

# by the clock: a start on flow waits for `limits.flow_margin` too
CLOCK = {
    "travel__start": "timed",
    "travel__dwell": "1.5 s",
    "travel__pause": "4 s",
    "travel__coverage": 0.25,
}
TEXT = text_of(SMALL, **{**JOINT, **CLOCK})


def row_with(*inputs: tuple[str, str]) -> Row:
    row = run_trial(Trial(Source(TEXT, "small.toml"), inputs))
    assert row["failed"] is None
    return row


@pytest.fixture(scope="module")
def plain() -> Row:
    return row_with()


@pytest.mark.parametrize("work", [run_trial, run_explained, run_order])
@pytest.mark.parametrize(
    "changes",
    [
        *((), ("arc.control=pedal", "travel.start=on-flow"), ("travel.coverage=0.2",)),
        ("tube.wall=0.4 mm", "arc.current=90 A"),
    ],
    ids=["clock", "pedal", "a part", "melted"],
)
def test_what_a_run_gives_counts_when_it_is_kept(
    work: Work[Trial], changes: tuple[str, ...], tmp_path: Path
) -> None:
    tasks = [Trial(Source.of(TINY, ("numerics.detail=coarse", *changes)), ())]
    with RowFile(tmp_path / "rows.jsonl") as store:
        first = collect(Serial(), work, tasks, store)
    assert first[0]["failed"] is None
    ran: list[int] = []
    with RowFile(tmp_path / "rows.jsonl", resume=True) as store:
        assert collect(Serial(), work, tasks, store, lambda done, _: ran.append(done)) == first
        assert store.damaged == 0
    assert ran == [1]


def test_the_slack_is_the_surplus_over_the_wanted_one(plain: Row) -> None:
    sides = [plain[f"{side}_side_surplus_K"] for side in ("tube", "flange")]
    # a row's values may be text, these are numbers
    assert plain["surplus_K"] == min(*sides, plain["stretch_surplus_K"])  # type: ignore[type-var]
    assert plain["filler_slack_K"] == pytest.approx(float(plain["surplus_K"] or 0.0) - 10.0)
    assert plain["filler_flows"] is True
    assert plain["filler_binding"] in ("limits.wet_fraction", "limits.dry_length")


@pytest.mark.parametrize(
    ("tight", "told"),
    [
        ({"wet_fraction": "1", "dry_length": "40 mm"}, "too little of a side is wet"),
        ({"dry_length": "0 mm"}, "a dry stretch of "),
        ({"filler_superheat": "20 K"}, "K hotter than limits.filler_superheat allows"),
        ({"lap_filled": "1"}, "% less of the lap than limits.lap_filled asks for"),
    ],
)
def test_the_slack_is_below_zero_where_the_filler_fails_by_any_limit(
    plain: Row, tight: dict[str, str], told: str
) -> None:
    (first, *_) = tight
    if first in ("wet_fraction", "dry_length"):  # just more than the filler has
        tight = {**tight, "flow_margin": f"{float(plain['surplus_K'] or 0.0) + 0.5} K"}
    row = row_with(*((f"limits.{key}", value) for key, value in tight.items()))
    assert row["filler_flows"] is False
    assert float(row["filler_slack_K"] or 0.0) < 0.0
    assert row["filler_binding"] == f"limits.{first}"
    assert told in standing(row)


def test_at_the_limit_the_sign_and_the_verdict_agree(plain: Row) -> None:
    surplus = float(plain["surplus_K"] or 0.0)
    for apart in (-0.01, 0.01):
        row = row_with(("limits.flow_margin", f"{surplus + apart} K"))
        assert row["filler_flows"] is (apart < 0.0)
        assert row["filler_slack_K"] == pytest.approx(-apart, abs=1e-6)


def test_a_bead_has_no_filler_that_could_fail() -> None:
    row = run_trial(Trial(Source(BEAD, "bead.toml"), (("travel.coverage", "0.25"),)))
    names = ("surplus_K", "filler_slack_K", "filler_binding", "longest_dry_m")
    assert [row[name] for name in names] == [None] * 4
    assert standing(row).startswith("the base stays solid (margin ")
    assert "filler" not in standing(row)


def test_standing_names_margin_and_surplus_and_never_rounds_onto_the_wanted() -> None:
    assert standing(made_row(12.0, 15.0, 100.0)) == (
        "the base stays solid (margin 62 K where 50 K are wanted) and the filler flows (surplus "
        "25 K where 10 K are wanted)"
    )
    assert standing(made_row(-0.2, -0.3, 100.0)) == (
        "the base comes too close to melting (margin 49.8 K where 50 K are wanted) and the filler "
        "fails, as too little of a side is wet (surplus 9.7 K where 10 K are wanted)"
    )
    assert standing(made_row(-70.0, 5.0, 100.0)) == (
        "the base melts (margin -20 K where 50 K are wanted), but the filler flows (surplus 15 K "
        "where 10 K are wanted)"
    )
    assert standing({"failed": None, "margin_K": None}) == "nothing in it can melt"
    assert set(FAILS) == {
        *("limits.wet_fraction", "limits.dry_length"),
        *("limits.filler_superheat", "limits.lap_filled"),
    }


@pytest.mark.parametrize("made", [lambda trial: trial, Sample, BeadRun])
def test_a_row_is_the_same_wherever_the_case_lies(made: Callable[[Trial], Keyed]) -> None:
    def key(text: str, name: str, *changes: str) -> str:
        return made(Trial(Source(text, name, changes), (("arc.current", "60 A"),))).key()

    told = key(TEXT, "here/small.toml")
    assert key(TEXT, "/elsewhere/small.toml") == told
    assert key(TEXT, "here/small.toml", "arc.aim=2 mm") != told
