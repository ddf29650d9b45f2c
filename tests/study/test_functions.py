"""Studies as functions: the same answers as the commands', as types, pages, frames and files."""

from __future__ import annotations

import json
from dataclasses import replace
from html import escape
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lapheat
from lapheat import Answer, read_case, simulate
from lapheat.case.faults import CaseError
from lapheat.study.answer import flat
from lapheat.study.calibration.readings import Calibration
from lapheat.study.compare.compare import Comparison
from lapheat.study.explain.explain import Explained
from lapheat.study.find import plan
from lapheat.study.find.plan import Effort
from lapheat.study.risk.risk import Risk
from lapheat.study.sequences.orders import Sequences
from lapheat.study.window.window import Window
from study.beads import BEAD
from study.benches import TINY

COARSE = ("numerics.detail=coarse",)


def told(answer: Answer[Any], folder: Path) -> dict[str, Any]:
    """What the command's JSON file holds, from the folder it writes."""
    files = answer.save(folder)
    content: dict[str, Any] = json.loads(files[0].read_text("utf-8"))
    return content


def test_window(tmp_path: Path) -> None:
    seen: list[tuple[str, int, int]] = []
    answer = lapheat.window(
        TINY,
        COARSE,
        vary=["arc.current=20 A:24 A:2", "travel.speed=2 mm/s:4 mm/s:2"],
        count=lambda *where: seen.append(where),
    )
    assert isinstance(answer.found, Window)
    assert seen[-1][1] == seen[-1][2] >= 4
    frame = answer.to_frame()
    assert len(frame) == len(answer.found.runs)
    assert set(frame["inputs.arc.current"]) >= {"20 A", "24 A"}
    content = told(answer, tmp_path / "window")
    assert content == json.loads(json.dumps(answer.told))
    assert [row["margin_K"] for row in content["runs"]] == frame["margin_K"].tolist()
    assert content["why"] == answer.why
    assert f"<p>{answer.why}.</p>" in answer._repr_html_()


def test_a_misspelt_keyword_is_refused() -> None:
    for wrong in ("worker", "hour", "resume"):
        asked: Any = {wrong: 1}
        with pytest.raises(TypeError, match=wrong):
            lapheat.window(TINY, COARSE, **asked)


def test_a_study_cut_short_goes_on_from_its_kept_rows(tmp_path: Path) -> None:
    class CutError(Exception):
        pass

    def cut(*where: Any) -> None:
        if where[1] == 5:
            raise CutError

    rows = tmp_path / "rows.jsonl"
    more: dict[str, Any] = {"samples": 16, "within": 0.0}
    with pytest.raises(CutError):
        lapheat.risk(TINY, COARSE, count=cut, rows=rows, **more)
    assert len(rows.read_text("utf-8").splitlines()) == 5
    seen: list[int] = []
    answer = lapheat.risk(
        TINY, COARSE, count=lambda _, done, __: seen.append(done), rows=rows, **more
    )
    assert 5 in seen
    assert not {1, 2, 3, 4} & set(seen)  # none of them is run again
    assert answer.told == lapheat.risk(TINY, COARSE, **more).told
    rows.write_text("my own notes\n")
    with pytest.raises(CaseError, match="no kept row"):
        lapheat.risk(TINY, COARSE, rows=rows, **more)


def test_sequences_give_the_rows_of_the_command(tmp_path: Path) -> None:
    answer = lapheat.sequences(TINY, COARSE, orders="in-turn,backstep")
    assert isinstance(answer.found, Sequences)
    assert answer.to_frame()["order"].tolist() == [o.order for o in answer.found.pause.orders]
    # rows are kept, so that the folder is the command's
    assert (tmp_path / "out" / "rows.jsonl") in answer.save(tmp_path / "out")


def test_risk() -> None:
    answer = lapheat.risk(TINY, COARSE, samples=16, within=0.0)
    assert isinstance(answer.found, Risk)
    assert answer.found.at.shape == (16, len(answer.found.plan.inputs))
    assert answer.to_frame()["input"].tolist() == [d["input"] for d in answer.told["drivers"]]
    chance = answer.told["base_melts"]["chance"]
    assert f"base melts: {100 * chance:.1f} %" in answer._repr_html_()


@pytest.mark.slow
def test_explain() -> None:
    answer = lapheat.explain(TINY, (*COARSE, "travel.coverage=0.3"))
    assert isinstance(answer.found, Explained)
    frame = answer.to_frame()
    assert frame["key"].tolist() == [lever["key"] for lever in answer.told["levers"]]
    assert "arc.current" in set(frame["key"])
    for finding in answer.told["findings"]:
        assert escape(finding["says"]) in answer._repr_html_()


@pytest.mark.slow
def test_find(monkeypatch: pytest.MonkeyPatch) -> None:
    few = Effort(first=16, rounds=1, more=1, looks=6, fresh=8, candidates=64)
    plan_of = plan.plan_of
    monkeypatch.setattr(plan, "plan_of", lambda *given: replace(plan_of(*given), effort=few))
    answer = lapheat.find(TINY, (*COARSE, "bench.hand=clock"), free="arc.current")
    assert len(answer.to_frame()) == len(answer.found.picks)
    assert answer.why == answer.found.why
    with pytest.raises(ValueError, match=r"sure must be from 0\.5 to 0\.99, not 90"):
        lapheat.find(TINY, COARSE, sure=90)


def test_calibrate_finds_what_a_run_was_made_with(tmp_path: Path) -> None:
    (tmp_path / "bead.toml").write_text(BEAD, "utf-8")
    other = read_case(tmp_path / "bead.toml", ["arc.efficiency=0.68", "arc.spot=2.3 mm"])
    frame = simulate(other, threads=1, until=40.0).to_frame()
    frame = frame[["time_s", "near_C", "mid_C", "far_C"]]
    frame[frame["time_s"] <= 40.0].to_csv(tmp_path / "bead.csv", index=False)
    answer = lapheat.calibrate(tmp_path / "bead.toml", tmp_path / "bead.csv")
    assert isinstance(answer.found, Calibration)
    fitted = answer.to_frame().set_index("name")
    assert fitted.loc["efficiency", "value"] == pytest.approx(0.68, abs=0.01)
    assert fitted.loc["spot", "value"] == pytest.approx(2.3e-3, abs=0.1e-3)


def test_compare(tmp_path: Path) -> None:
    cold = simulate(read_case(TINY, COARSE), threads=1)
    hot = simulate(read_case(TINY, (*COARSE, "arc.current=50 A")), threads=1)
    answer = lapheat.compare(cold, hot, names=["40 A", "50 A"])
    assert isinstance(answer.found, Comparison)
    frame = answer.to_frame().set_index("name")
    assert frame.loc["arc.current", "50 A"] == "50 A"
    margins = [run.outcomes.tube.margin_K or 0.0 for run in (cold, hot)]
    change = frame.loc["tube.margin_K", "50 A change"]
    assert change == pytest.approx(margins[1] - margins[0], abs=1e-6)
    assert "<th>40 A</th>" in answer._repr_html_()
    assert told(answer, tmp_path / "compare")["why"] == answer.why


# ---- what notebooks show ----------------------------------------------------------------------


def test_a_result_is_a_page_and_a_frame() -> None:
    result = simulate(read_case(TINY, COARSE), threads=1)
    frame, trace = result.to_frame(), result.history.trace
    assert frame["time_s"].to_numpy() == pytest.approx(trace.time)
    assert frame["tube_C"].max() + 273.15 == pytest.approx(trace.tube.max())
    assert np.allclose(frame["angle_deg"], np.degrees(trace.angle))
    page = result._repr_html_()
    assert result.outcomes.verdict.summary[:40] in page
    assert page.count("<tr>") == 1 + len(result.outcomes.segments)


def test_hostile_text_stays_text() -> None:
    bad = "<script>alert(1)</script>"
    answer = Answer(None, "window", bad, {"why": bad}, ({bad: bad},), lambda _: ())
    assert "<script>" not in answer._repr_html_()
    assert answer._repr_html_().count("&lt;script&gt;") == 4


def test_a_row_is_flat() -> None:
    row = {"inputs": {"arc.current": "40 A"}, "margin_K": 3.0, "starts": [1, 2], "failed": None}
    assert flat(row) == {"inputs.arc.current": "40 A", "margin_K": 3.0, "failed": None}


def test_without_pandas_the_way_to_get_it_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pandas", None)
    answer = Answer(None, "window", "a case", {}, ({"a": 1},), lambda _: ())
    with pytest.raises(ImportError, match=r"pip install 'lapheat\[notebook\]'"):
        answer.to_frame()


# ---- refusals ---------------------------------------------------------------------------------


def test_a_case_in_the_place_of_its_file_is_refused() -> None:
    with pytest.raises(TypeError, match="defaults follow what varies"):
        lapheat.risk(read_case(TINY))  # type: ignore[arg-type]


def test_faults_of_the_case_are_told_before_anything_is_run() -> None:
    with pytest.raises(CaseError, match=r"travel\.speed"):
        lapheat.sequences(TINY, ["travel.speed=3"])


def test_one_run_is_no_comparison() -> None:
    with pytest.raises(ValueError, match="two runs or more can be compared, not 1"):
        lapheat.compare(simulate(read_case(TINY, COARSE), threads=1))


def test_a_window_of_chances_chooses_no_keys() -> None:
    with pytest.raises(ValueError, match="find chooses keys by chance"):
        lapheat.window(TINY, COARSE, free="arc.current", sure=0.9)
    with pytest.raises(ValueError, match=r"from 0\.5 to 0\.99, not 2"):
        lapheat.window(TINY, COARSE, sure=2)
