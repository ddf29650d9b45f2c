"""`lapheat run` cut short, resumed, failed, and run again from its own case.toml."""

from __future__ import annotations

import json
import os
import re
import signal
from pathlib import Path
from typing import Any

import pytest

import lapheat.report.figures
import lapheat.report.sheet
from lapheat.cli.study import explain
from lapheat.cli.study.frame import Study
from lapheat.march.errors import MarchError
from lapheat.march.safety import guard
from lapheat.report.checkpoint import Checkpoint
from support.commands import Call

TINY = (Path(__file__).parents[2] / "study" / "tiny.toml").read_text("utf-8")
RUN = ("run", "tiny.toml", "--detail", "coarse")
WALL = re.compile(rb'"wall_s": [\d.e-]+|<th scope="row">wall_clock</th>.*?</tr>')
# what tells of the file that was read: its name, and which of its values are defaults
OF_THE_FILE = {"report.html", "sheet.pdf", "sheet.png", "sheet-letter.pdf"}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tiny.toml").write_text(TINY, "utf-8")
    return tmp_path


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lapheat.report.figures, "save_figures", lambda *_: ())
    monkeypatch.setattr(lapheat.report.sheet, "save_sheet", lambda *_: ())


def files(folder: Path) -> dict[str, bytes]:
    """Every file of a result, without the time its march took."""
    return {
        str(path.relative_to(folder)): WALL.sub(b"", path.read_bytes())
        for path in folder.rglob("*")
        if path.is_file()
    }


def interrupt(monkeypatch: pytest.MonkeyPatch, after: int) -> None:
    """Press Ctrl-C after so many steps."""
    due, seen = Checkpoint.due, []

    def count(self: Checkpoint) -> bool:
        seen.append(0)
        if len(seen) == after:
            os.kill(os.getpid(), signal.SIGINT)
        return due(self)

    monkeypatch.setattr(Checkpoint, "due", count)


@pytest.mark.usefixtures("undrawn")
def test_ctrl_c_keeps_the_state_and_resume_goes_on(
    call: Call, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert call(*RUN, "--out", "whole")[0] == 0
    with monkeypatch.context() as patch:
        interrupt(patch, 40)
        status, _, err = call(*RUN, "--checkpoint", "5 min")
        kept = here / "tiny.out.checkpoint"
        assert status == 130
        assert err == (
            f"interrupted: the state of the run is in {kept}; --resume goes on from it\n"
        )
    assert not (here / "tiny.out").exists()
    assert call(*RUN, "--checkpoint", "5 min")[0] == 2  # not over it unasked
    status, _, err = call(*RUN, "--resume", "--set", "arc.current=41 A")
    assert (status, "another case" in err) == (2, True)
    assert call(*RUN, "--resume", "--threads", "1")[0] == 0
    assert files(here / "tiny.out") == files(here / "whole")
    assert sorted(path.name for path in here.iterdir()) == ["tiny.out", "tiny.toml", "whole"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--checkpoint", "5"), "no unit"),
        (("--checkpoint", "-1 s"), "a time of 0 s or more"),
        (("--checkpoint", "1 mm"), "a length, not a time"),
        (("--checkpoint", "1 s", "--film"), "beside --film"),
        (("--resume", "--fields"), "beside --fields"),
        (("--resume", "--march", "fipy"), "beside --march fipy"),
    ],
)
def test_what_cannot_be_kept_is_refused(
    call: Call, here: Path, options: tuple[str, ...], said: str
) -> None:
    status, _, err = call(*RUN, *options)
    assert status == 2
    assert said in err
    assert [path.name for path in here.iterdir()] == ["tiny.toml"]


@pytest.fixture
def explained(monkeypatch: pytest.MonkeyPatch) -> list[Study]:
    """What was explained: nothing is run for it."""
    asked: list[Study] = []
    monkeypatch.setattr(explain, "carry_out", asked.append)
    return asked


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--converge", "--detail", "coarse"), "--converge"),
        (("--checkpoint", "1 s", "--film"), "beside --film"),
        (("--set", "arc.current=-1 A"), "arc.current"),
        (("--hours", "0"), "at most 0 hours"),
        (("--out", "tiny.toml"), "tiny.toml"),
    ],
)
def test_what_is_refused_is_not_explained_first(
    call: Call, here: Path, explained: list[Study], options: tuple[str, ...], said: str
) -> None:
    status, _, err = call("run", "tiny.toml", "--explain", *options)
    assert (status, said in err, explained) == (2, True, [])
    assert [path.name for path in here.iterdir()] == ["tiny.toml"]


@pytest.mark.usefixtures("undrawn", "here")
def test_resume_and_hours_reach_the_explanation(call: Call, explained: list[Study]) -> None:
    assert call(*RUN, "--explain")[0] == 0
    assert call(*RUN, "--explain", "--resume", "--hours", "30")[0] == 0
    assert [(study.resume, study.hours) for study in explained] == [(False, 24.0), (True, 30.0)]


@pytest.mark.usefixtures("here")
def test_what_keeps_no_state_still_resumes_its_explanation(
    call: Call, explained: list[Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    def ended(study: Study) -> None:
        explained.append(study)
        study.left.words = "finished runs are kept"
        raise KeyboardInterrupt

    monkeypatch.setattr(explain, "carry_out", ended)
    status, _, err = call("run", "tiny.toml", "--converge", "--explain", "--resume")
    assert (status, err) == (130, "interrupted: finished runs are kept\n")
    assert explained[0].resume


def test_converge_keeps_no_state(call: Call, here: Path) -> None:
    status, _, err = call("run", "tiny.toml", "--converge", "--resume")
    assert (status, "beside --converge" in err) == (2, True)
    assert [path.name for path in here.iterdir()] == ["tiny.toml"]


@pytest.mark.usefixtures("undrawn")
def test_a_failed_run_keeps_what_it_had_beside_the_earlier_result(
    call: Call, here: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert call(*RUN)[0] == 0
    earlier = files(here / "tiny.out")
    seen: list[Any] = []

    def check(*_: object) -> None:
        seen.append(0)
        if len(seen) == 30:
            raise MarchError("the heat does not add up")

    monkeypatch.setattr(guard.Guard, "check", check)
    for _ in range(2):  # an earlier one is replaced
        seen.clear()
        status, _, err = call(*RUN)
        kept = here / "tiny.out.incomplete"
        assert status == 3
        assert re.fullmatch(
            r"the computation failed: the heat does not add up, [\d.]+ s into the run "
            rf"\(segment 1\); what was computed before is in {kept}\n",
            err,
        )
    assert files(here / "tiny.out") == earlier
    told = json.loads((kept / "incomplete.json").read_text("utf-8"))
    assert told["incomplete"].startswith("the heat does not add up, ")
    assert told["steps"] == 29
    rows = (kept / "trace.csv").read_text("utf-8").splitlines()
    assert rows[0] == "time_s,current_A,segment,angle_deg,tube_C,flange_C"
    assert len(rows) == 31
    assert float(rows[-1].split(",")[0]) == pytest.approx(told["simulated_s"])
    assert (kept / "case.toml").read_bytes() == earlier["case.toml"]

    (kept / "notes.txt").write_text("mine", "utf-8")
    seen.clear()
    status, _, err = call(*RUN)
    assert (status, "nor what was computed before" in err) == (3, True)
    assert (kept / "notes.txt").read_text("utf-8") == "mine"


def test_a_result_is_reproduced_from_its_case_file(call: Call, here: Path) -> None:
    """But for `wall_s`; report and sheet of the first tell of the user's file."""
    assert call(*RUN, "--out", "first", "--threads", "2")[0] == 0
    assert call("run", "first/case.toml", "--out", "second", "--threads", "1")[0] == 0
    assert call("run", "second/case.toml", "--out", "third")[0] == 0
    first, second, third = (files(here / name) for name in ("first", "second", "third"))
    assert first.keys() == second.keys() == third.keys()
    assert {name for name in first if first[name] != second[name]} == OF_THE_FILE
    assert second == third
    told = json.loads((here / "first" / "outcomes.json").read_text("utf-8"))
    assert told["case"] in (here / "first" / "report.html").read_text("utf-8")
    assert told["versions"]["numba"]
