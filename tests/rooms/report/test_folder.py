"""The result folder: what is in it, and that it appears whole or not at all."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from lapheat.case.file import CaseError, digest_of, read_case
from lapheat.outcomes.from_history import outcomes_of
from lapheat.report import folder as results
from lapheat.report.folder import (
    ResultError,
    check_folder,
    default_folder,
    write_folder,
    write_results,
)
from lapheat.report.leftovers import hidden
from support.runs import run_with

FILES = ("outcomes.json", "case.toml", "probes.csv")
SHEETS = ("sheet.pdf", "sheet.png", "sheet-letter.pdf")
WHOLE = [*FILES, "figures/peaks.png", *SHEETS, "report.html"]


@pytest.fixture(autouse=True)
def _quick_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stand in for figures and sheet, which have tests of their own and take a second."""
    import lapheat.report.figures
    import lapheat.report.sheet

    def save(_: object, folder: Path) -> tuple[Path, ...]:
        folder.mkdir()
        (folder / "peaks.png").write_bytes(b"png")
        return (folder / "peaks.png",)

    def sheet(*given: object) -> tuple[Path, ...]:
        paths = tuple(Path(str(given[2]), name) for name in SHEETS)
        for path in paths:
            path.write_bytes(b"sheet")
        return paths

    monkeypatch.setattr(lapheat.report.figures, "save_figures", save)
    monkeypatch.setattr(lapheat.report.sheet, "save_sheet", sheet)


def write(folder: Path, **changes: float) -> tuple[Path, ...]:
    history = run_with(**changes)  # type: ignore[arg-type]
    return write_results(history, outcomes_of(history), folder)


def everything(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def refusal(folder: Path) -> str:
    with pytest.raises(CaseError) as caught:
        check_folder(folder)
    return str(caught.value)


def test_folder_holds_the_files_of_the_contract(tmp_path: Path) -> None:
    out = tmp_path / "new" / "stub.out"
    files = write(out)
    assert [str(path.relative_to(out)) for path in files] == WHOLE
    assert sorted(everything(out)) == sorted(WHOLE)
    assert list(out.parent.iterdir()) == [out]


def test_outcomes_file_is_the_outcomes(tmp_path: Path) -> None:
    write(tmp_path / "out")
    text = (tmp_path / "out" / "outcomes.json").read_text("utf-8")
    told = json.loads(text)
    assert told.pop("case") == digest_of(run_with().case)
    assert told == outcomes_of(run_with()).as_dict()
    assert text.endswith("}\n")


def test_case_file_runs_again(tmp_path: Path) -> None:
    write(tmp_path / "out")
    told = run_with().case
    again = read_case(tmp_path / "out" / "case.toml")
    assert told is not None
    assert (again.tube, again.flange, again.detail) == (told.tube, told.flange, told.detail)
    assert [probe.name for probe in again.probes] == [probe.name for probe in told.probes]


def test_probes_cover_the_whole_run(tmp_path: Path) -> None:
    write(tmp_path / "out")
    with (tmp_path / "out" / "probes.csv").open(newline="") as text:
        head, *rows = csv.reader(text)
    assert head == ["time_s", "T1_C", "T2_C", "plate_C"]
    table = np.array(rows, dtype=float)
    trace = run_with().trace
    assert table[:, 0] == pytest.approx(trace.time, abs=1e-4)
    assert table[:, 1:] == pytest.approx(trace.probes - 273.15, abs=1e-3)


def test_permissions_are_those_of_any_new_folder(tmp_path: Path) -> None:
    write(tmp_path / "out")
    (tmp_path / "plain").mkdir()
    assert (tmp_path / "out").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_an_earlier_result_is_replaced_whole(tmp_path: Path) -> None:
    out = tmp_path / "out"
    write(out)
    before = everything(out)
    (out / "figures" / "current.svg").write_bytes(b"an earlier pedal's")
    (out / ".DS_Store").write_bytes(b"")
    write(out, tube=1700.0)
    after = everything(out)
    assert sorted(after) == sorted(before)
    assert after["outcomes.json"] != before["outcomes.json"]
    assert list(tmp_path.iterdir()) == [out]


def test_an_empty_folder_is_used(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    write(tmp_path / "out")
    assert (tmp_path / "out" / "outcomes.json").exists()


def test_a_link_to_a_folder_is_followed(tmp_path: Path) -> None:
    (tmp_path / "real").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write(tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real" / "outcomes.json").exists()


def test_a_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "out").write_text("mine")
    assert "given:   a file" in refusal(tmp_path / "out")
    assert "which is a file" in refusal(tmp_path / "out" / "deeper")


def test_a_folder_with_other_things_is_refused_and_left_alone(tmp_path: Path) -> None:
    out = tmp_path / "photos"
    out.mkdir()
    (out / "holiday.jpg").write_bytes(b"jpg")
    assert "a folder with other things in it" in refusal(out)
    with pytest.raises(CaseError):
        write(out)
    assert everything(out) == {"holiday.jpg": b"jpg"}
    assert list(tmp_path.iterdir()) == [out]


@pytest.mark.parametrize(
    "name", ["notes.txt", "figures/sketch.svg", "figures/mine.png", "figures/peaks.png.svg"]
)
def test_what_a_user_added_to_a_result_is_never_lost(tmp_path: Path, name: str) -> None:
    write(tmp_path / "out")
    (tmp_path / "out" / name).write_text("mine")
    before = everything(tmp_path / "out")
    assert f"an earlier result with other things in it: {name}" in refusal(tmp_path / "out")
    with pytest.raises(CaseError):
        write(tmp_path / "out")
    assert everything(tmp_path / "out") == before


STUDY = ("find.json", "case.toml", r"figures/find\.png", r"case\..+/")


def written(folder: Path, text: str) -> None:
    def fill(fresh: Path) -> list[Path]:
        for name in STUDY[:2]:
            (fresh / name).write_text(text, "utf-8")
        return [Path(name) for name in STUDY[:2]]

    write_folder(folder, fill, STUDY)


@pytest.mark.parametrize("links", [True, False])
def test_results_of_a_found_case_are_kept_when_it_is_found_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """`find` writes case.toml; `run` and `risk` of that write case.out and case.risk beside it."""
    folder = tmp_path / "stub.find"
    written(folder, "one")
    (folder / "case.out" / "figures").mkdir(parents=True)
    (folder / "case.out" / "outcomes.json").write_text("{}", "utf-8")
    (folder / "case.out" / "figures" / "peaks.png").write_bytes(b"png")
    (folder / "case.risk.rows.jsonl").write_text("rows", "utf-8")
    if not links:

        def refused(*_: object) -> None:
            raise OSError

        monkeypatch.setattr(os, "link", refused)
    before = everything(folder)
    written(folder, "two")
    assert everything(folder) == before | dict.fromkeys(STUDY[:2], b"two")

    (folder / "notes.txt").write_text("mine", "utf-8")
    with pytest.raises(CaseError, match=r"other things in it: notes\.txt"):
        written(folder, "three")
    assert everything(folder)["case.toml"] == b"two"


def test_rows_that_are_being_kept_beside_a_found_case_go_on(tmp_path: Path) -> None:
    folder = tmp_path / "stub.find"
    written(folder, "one")
    with (folder / "case.risk.rows.jsonl").open("a", encoding="utf-8") as rows:
        rows.write("first\n")
        rows.flush()
        written(folder, "two")
        rows.write("second\n")
    assert (folder / "case.risk.rows.jsonl").read_text("utf-8") == "first\nsecond\n"


def test_the_folder_one_stands_in_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert "in use and cannot be replaced" in refusal(Path())


def test_a_folder_that_cannot_be_made_is_refused() -> None:
    told = refusal(Path("a" * 300))  # newer Pythons find no folder of that name, and no error
    assert "cannot be made" in told or "at most 220 bytes" in told
    assert "cannot be made" in refusal(Path("nul\0byte"))
    assert "a name that is too long" in refusal(Path("a" * 221))
    assert check_folder(Path("a" * 220)).name == "a" * 220


def test_the_longest_name_can_be_written(tmp_path: Path) -> None:
    write(tmp_path / ("a" * 220))


def test_a_loop_of_links_is_refused(tmp_path: Path) -> None:
    (tmp_path / "one").symlink_to(tmp_path / "two")
    (tmp_path / "two").symlink_to(tmp_path / "one")
    assert "--out" in refusal(tmp_path / "one")


def test_a_place_that_takes_no_folder_is_refused_beforehand(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> str:
        raise OSError("read-only")

    monkeypatch.setattr("tempfile.mkdtemp", full)  # permissions hold nothing back from root
    assert f"a folder in {tmp_path}, where you may not write" in refusal(tmp_path / "new" / "out")


def test_checking_writes_nothing(tmp_path: Path) -> None:
    assert check_folder(tmp_path / "a" / "b") == tmp_path / "a" / "b"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("error", [OSError(28, "No space left on device"), KeyboardInterrupt()])
@pytest.mark.parametrize("stage", ["save_figures", "rename"])
def test_a_broken_run_leaves_the_earlier_result(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, error: BaseException, stage: str
) -> None:
    out = tmp_path / "out"
    write(out)
    before = everything(out)
    if stage == "rename":
        rename = Path.rename

        def stuck(self: Path, target: Path) -> Path:
            if self.name.endswith(".new"):
                raise error
            return rename(self, target)

        monkeypatch.setattr(Path, "rename", stuck)
    else:

        def broken(*_: object) -> None:
            raise error

        monkeypatch.setattr("lapheat.report.figures.save_figures", broken)
    expected = ResultError if isinstance(error, OSError) else KeyboardInterrupt
    with pytest.raises(expected) as caught:
        write(out, tube=1700.0)
    if isinstance(error, OSError):
        assert str(caught.value) == (
            f"the results could not be written to {out}: No space left on device"
        )
    assert everything(out) == before
    assert list(tmp_path.iterdir()) == [out]


def test_a_first_run_that_breaks_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> str:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(results, "_probes_csv", full)
    with pytest.raises(ResultError):
        write(tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_default_folder_lies_beside_the_case() -> None:
    assert default_folder("cases/flue-stub.toml") == Path("cases/flue-stub.out")
    assert default_folder("stub") == Path("stub.out")


KILLED = """
import os, pathlib, signal, sys
from lapheat.report.folder import write_folder
target, stage = pathlib.Path(sys.argv[1]), sys.argv[2]
rename = pathlib.Path.rename

def die(*_):
    os.kill(os.getpid(), signal.SIGKILL)

def fill(fresh):
    (fresh / "outcomes.json").write_text("new")
    if stage == "while writing":
        die()
    return [pathlib.Path("outcomes.json")]

def renamed(path, to):
    rename(path, to)
    die()

if stage == "between the renames":
    pathlib.Path.rename = renamed
write_folder(target, fill, ("outcomes.json",))
"""


@pytest.mark.parametrize("stage", ["while writing", "between the renames"])
def test_what_a_killed_run_left_is_tidied_and_an_earlier_result_is_back(
    tmp_path: Path, stage: str
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "outcomes.json").write_text("earlier")
    command = [sys.executable, "-c", KILLED, str(out), stage]
    sim = str(Path(results.__file__).parents[2])
    done = subprocess.run(command, env={**os.environ, "PYTHONPATH": sim})
    assert done.returncode == -9
    assert out.exists() is (stage == "while writing")
    assert len(list(tmp_path.glob(".out.*"))) == (1 if out.exists() else 2)
    living = hidden(out)[0]  # this process is at work beside it
    living.mkdir()
    check_folder(out, ("outcomes.json",))
    assert sorted(tmp_path.iterdir()) == [living, out]
    assert everything(out) == {"outcomes.json": b"earlier"}


def test_what_is_not_of_this_folder_and_machine_is_left(tmp_path: Path) -> None:
    names = (".out.00000000-999999999-ab.new", ".out.new", hidden(tmp_path / "o")[0].name)
    for name in names:
        (tmp_path / name).mkdir()
    check_folder(tmp_path / "out")
    assert {path.name for path in tmp_path.iterdir()} == set(names)
