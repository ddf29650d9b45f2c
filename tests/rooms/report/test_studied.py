"""What studies beside a case found of it: told if they are of this very case, else not."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from lapheat.case.case import Case
from lapheat.case.file import digest_of, read_case
from lapheat.report.studied import chance_of, levers_of

ROOT = Path(__file__).parents[3]
LEVER = {
    "key": "arc.current",
    "from": "70 A",
    "to": "74 A",
    "says": "4 A more current: stretch surplus +40 K",
    "serves": "flange side surplus",
}


def test_the_chance_is_that_of_this_very_case(tmp_path: Path) -> None:
    file = tmp_path / "stub.toml"
    file.write_text((ROOT / "cases/flue-stub.toml").read_text("utf-8"), "utf-8")
    case = read_case(file, detail="coarse")
    assert "not computed" in chance_of(case)
    (tmp_path / "stub.risk").mkdir()
    told = {
        "case": digest_of(read_case(file)),
        "own_detail": "standard",
        "samples": 256,
        "detail": "coarse",
        "success": {"chance": 0.943, "low": 0.9, "high": 0.971},
    }
    (tmp_path / "stub.risk" / "risk.json").write_text(json.dumps(told))
    assert chance_of(case) == (
        "Chance that a real bench succeeds: 94 % (90 to 97 %), from 256 coarse runs with "
        "scattered inputs."
    )
    other = read_case(file, ("arc.current=81 A",))
    assert chance_of(other).endswith("stub.risk is of another case.")
    (tmp_path / "stub.risk" / "risk.json").write_text("[]")
    assert "not computed" in chance_of(case)


def test_the_levers_are_those_of_this_very_case(tmp_path: Path) -> None:
    file = tmp_path / "stub.toml"
    file.write_text((ROOT / "cases/flue-stub.toml").read_text("utf-8"), "utf-8")
    case = read_case(file, detail="coarse")
    assert "lapheat explain CASE" in levers_of(case).missing
    (tmp_path / "stub.explain").mkdir()
    path = tmp_path / "stub.explain" / "explain.json"
    told = {
        "case": digest_of(read_case(file)),
        "own_detail": "standard",
        "detail": "coarse",
        "levers": [LEVER, {**LEVER, "serves": "tube side surplus"}],
        "advice": [{"head": "Mends it with one key", "says": "4 A more current: works\x1b[2J"}],
    }
    path.write_text(json.dumps(told))
    found = levers_of(case)
    assert found.missing == ""
    served = "flange side surplus, tube side surplus"
    assert found.rows == ((*tuple(LEVER.values())[:4], served),)
    assert found.advice == ("Mends it with one key: 4 A more current: works\\u001b[2J.",)
    other = levers_of(read_case(file, ("arc.current=81 A",)))
    assert other.missing.endswith("stub.explain is of another case.")
    path.write_text(json.dumps({**told, "advice": []}))
    assert levers_of(case).advice == ("Nothing that was tried does better.",)


@pytest.mark.parametrize(
    "spoilt",
    ["", "[]", "[" * 100_000, '{"case": 1}', '{"own_detail": {}, "case": ""}'],
)
def test_a_spoilt_study_tells_nothing(spoilt: str, tmp_path: Path) -> None:
    file = tmp_path / "stub.toml"
    file.write_text((ROOT / "cases/flue-stub.toml").read_text("utf-8"), "utf-8")
    for study in ("risk", "explain"):
        (tmp_path / f"stub.{study}").mkdir()
        (tmp_path / f"stub.{study}" / f"{study}.json").write_text(spoilt)
    case = read_case(file)
    assert "not computed" in chance_of(case)
    assert "Not computed" in levers_of(case).missing


@pytest.mark.parametrize("bad", [{"levers": [{**LEVER, "to": 5}]}, {"advice": [{"head": "x"}]}])
def test_a_spoilt_lever_tells_nothing(bad: dict[str, object], tmp_path: Path) -> None:
    file = tmp_path / "stub.toml"
    file.write_text((ROOT / "cases/flue-stub.toml").read_text("utf-8"), "utf-8")
    (tmp_path / "stub.explain").mkdir()
    told = {
        "case": digest_of(read_case(file)),
        "own_detail": "standard",
        "detail": "coarse",
        "levers": [],
        "advice": [],
    }
    (tmp_path / "stub.explain" / "explain.json").write_text(json.dumps({**told, **bad}))
    assert "Not computed" in levers_of(read_case(file)).missing


@pytest.mark.parametrize(
    "bad",
    [
        *('"chance": 1' + "0" * 400, '"chance": NaN', '"low": -3, "high": 77', '"low": 0.95'),
        *('"high": 0.9', '"chance": Infinity, "high": Infinity', '"chance": [1]'),
    ],
)
def test_a_chance_that_is_none_is_not_told(bad: str, tmp_path: Path) -> None:
    case, path = beside(tmp_path, "risk")
    success = '"chance": 0.94, "low": 0.9, "high": 0.97'
    for samples, told, good in ((9, success, True), (9, f"{success}, {bad}", False)):
        path.write_text(risk_text(case, samples, told))
        assert ("not computed" not in chance_of(case)) == good
    for none in ("Infinity", "NaN", "0"):
        path.write_text(risk_text(case, none, success))
        assert "not computed" in chance_of(case)


def test_neither_a_huge_file_nor_a_pipe_is_read(tmp_path: Path) -> None:
    case, path = beside(tmp_path, "risk")
    text = risk_text(case, 9, '"chance": 0.94, "low": 0.9, "high": 0.97')
    path.write_text(text.ljust(1_000_000))
    assert "94 %" in chance_of(case)
    path.write_text(text.ljust(1_000_001))
    assert "not computed" in chance_of(case)
    path.unlink()
    os.mkfifo(path)
    assert "not computed" in chance_of(case)


def test_a_strangers_many_levers_are_not_all_told(tmp_path: Path) -> None:
    case, path = beside(tmp_path, "explain")
    levers = [{**LEVER, "key": f"key {number}"} for number in range(300)]
    advice = [{"head": "Comes nearest", "says": "more"}] * 300
    told = {"case": digest_of(case), "own_detail": case.detail, "detail": "coarse"}
    path.write_text(json.dumps({**told, "levers": levers, "advice": advice}))
    found = levers_of(case)
    assert (len(found.rows), len(found.advice)) == (200, 20)


def beside(folder: Path, study: str) -> tuple[Case, Path]:
    """Write a case; it, and where the results of its study go."""
    file = folder / "stub.toml"
    file.write_text((ROOT / "cases/flue-stub.toml").read_text("utf-8"), "utf-8")
    (folder / f"stub.{study}").mkdir()
    return read_case(file), folder / f"stub.{study}" / f"{study}.json"


def risk_text(case: Case, samples: object, success: str) -> str:
    about = f'"case": "{digest_of(case)}", "own_detail": "{case.detail}"'
    return f'{{{about}, "samples": {samples}, "detail": "coarse", "success": {{{success}}}}}'
