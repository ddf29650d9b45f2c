"""`lapheat compare`: what it takes, what it says, how it ends."""

from __future__ import annotations

import json
from pathlib import Path

from invariance.small import SMALL, text_of
from support.commands import Call


def test_case_files_and_a_result_folder_side_by_side(folder: Path, call: Call) -> None:
    (folder / "a.toml").write_text(text_of(SMALL), "utf-8")
    (folder / "b.toml").write_text(text_of(SMALL, arc__current="64 A"), "utf-8")
    assert call("run", "a.toml")[0] == 0
    status, out, err = call("compare", "a.out", "b.toml", "--fail-on-verdict")
    told = json.loads((folder / "a.compare" / "compare.json").read_text("utf-8"))
    assert (status, err) == (0 if any(run["works"] for run in told["runs"]) else 1, "")
    assert [run["name"] for run in told["runs"]] == ["a", "b"]
    assert "arc.current" in out
    assert "b less a" in out
    assert told["why"] in out
    assert "No numerical uncertainty: a and b were not converged" in out
    margin = told["runs"][1]["outcomes"]["tube"]["margin_K"]
    assert f"{margin:.1f} K" in out


def test_one_run_alone_is_refused(folder: Path, call: Call) -> None:
    status, _, err = call("compare", "stub.toml")
    assert status == 2
    assert "two or more: case files, result folders, or both" in err
    assert not list(folder.glob("*.compare"))


def test_a_faulty_second_case_is_refused_before_the_first_is_run(folder: Path, call: Call) -> None:
    (folder / "bad.toml").write_text("[tube]\nwall = 3\n", "utf-8")
    status, _, err = call("compare", "stub.toml", "bad.toml")
    assert status == 2
    assert "bad.toml" in err
    assert not list(folder.glob("*.compare"))


def test_detail_beside_converge_is_refused(folder: Path, call: Call) -> None:
    status, _, err = call("compare", "stub.toml", "stub.toml", "--converge", "--detail", "fine")
    assert status == 2
    assert "--converge, which runs coarse, standard and fine" in err
    assert not list(folder.glob("*.compare"))
