"""The file of an unfinished run: plain numbers, checked before use, never someone's own."""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lapheat.report.checkpoint as module
from lapheat.case.faults import CaseError
from lapheat.march.safety.way import KeptError
from lapheat.report.checkpoint import HEAD, Checkpoint, checkpoint_of
from support.joints import small_case

CASE = small_case()
ARRAYS = {
    "state.h": np.array([[1.0, -0.0, np.nan], [np.inf, 1e-320, 0.1 + 0.2]]),
    "record.steps": np.array(7),
    "rod.missing": np.array([True, False]),
    "state.none": np.zeros((0, 4)),
}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return checkpoint_of(tmp_path / "stub.out")


def kept(path: Path) -> Path:
    Checkpoint(path, 0.0, CASE, False).keep(ARRAYS)
    return path


def refusal(path: Path, case: Any = CASE, resume: bool = True) -> str:
    before = path.lstat().st_mtime_ns, path.read_bytes() if path.is_file() else b""
    with pytest.raises(CaseError) as caught:
        Checkpoint(path, 0.0, case, resume)
    assert (path.lstat().st_mtime_ns, path.read_bytes() if path.is_file() else b"") == before
    assert str(path) in str(caught.value)
    return str(caught.value)


def test_arrays_come_back_to_the_bit(path: Path) -> None:
    found = Checkpoint(kept(path), 0.0, CASE, True).begin
    assert found is not None
    assert list(found) == list(ARRAYS)
    for name, array in ARRAYS.items():
        assert (found[name].shape, found[name].dtype) == (array.shape, array.dtype)
        assert found[name].tobytes() == array.tobytes()
    assert [one.name for one in path.parent.iterdir()] == [path.name]


def test_without_a_file_a_run_begins_anew(path: Path) -> None:
    assert Checkpoint(path, 0.0, CASE, True).begin is None


def test_an_unfinished_run_is_not_overwritten_unasked(path: Path) -> None:
    assert "--resume goes on from it; delete it to start anew" in refusal(kept(path), resume=False)


def test_another_case_is_refused(path: Path) -> None:
    other = replace(CASE, travel=replace(CASE.travel, pause=2.0))
    assert "the state of a run with another case" in refusal(kept(path), other)


@pytest.mark.parametrize("name", ["__version__", "mark"])
def test_another_version_is_refused(path: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    kept(path)
    monkeypatch.setattr(module, name, "9.9" if name == "__version__" else lambda: "other")
    assert "the state of a run with another" in refusal(path)


@pytest.mark.parametrize("what", ["llvmlite", "processor"])
def test_another_compiler_or_processor_is_refused(
    path: Path, monkeypatch: pytest.MonkeyPatch, what: str
) -> None:
    kept(path)
    if what == "processor":
        monkeypatch.setattr(module, "get_host_cpu_name", lambda: "other")
    else:
        found = module.version
        monkeypatch.setattr(module, "version", lambda n: "0.1" if n == what else found(n))
    assert f"the state of a run with another {what}" in refusal(path)


def test_every_flipped_or_missing_byte_is_found(path: Path) -> None:
    whole = kept(path).read_bytes()
    for at in range(len(HEAD), len(whole), 23):
        for text in (whole[:at], whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :]):
            path.write_bytes(text)
            assert "damaged" in refusal(path)


@pytest.mark.parametrize(
    "told",
    [
        *("", "[" * 5000, "{}", "[]", "null", '{"made_for": 1, "arrays": []}'),
        '{"made_for": {}, "arrays": [["h", "O", [1]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", [-1]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", [-1, -1]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", [1000000000000]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", 3]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", ["x"]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", [Infinity]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", [NaN]]]}',
        '{"made_for": {}, "arrays": [["h", "<f8", [1' + "0" * 400 + "]]]}",
        '{"made_for": {}, "arrays": [[["h"], "<f8", [2]]]}',
    ],
)
def test_a_strangers_file_is_refused(path: Path, told: str) -> None:
    rest = told.encode() + b"\n" + bytes(16)
    path.write_bytes(HEAD + sha256(rest).hexdigest().encode() + b"\n" + rest)
    assert "damaged" in refusal(path)


def test_arrays_that_the_march_finds_unfit_are_refused(path: Path) -> None:
    keeper = Checkpoint(kept(path), 0.0, CASE, True)
    with pytest.raises(CaseError, match="damaged"), keeper:
        raise KeptError
    assert path.exists()


def test_a_file_far_too_large_is_not_read(path: Path) -> None:
    kept(path)
    with path.open("r+b") as file:
        file.truncate(10**12)  # of no blocks: nothing is written
    with pytest.raises(CaseError, match=r"larger than the \d+ MB that this case can need"):
        Checkpoint(path, 0.0, CASE, True)


def test_no_array_of_code_is_read(path: Path) -> None:
    kept(path)
    assert json.loads(path.read_bytes().split(b"\n")[2])["arrays"][0][1] == "<f8"
    assert set(module.TYPES) == {"<f8", "<i8", "|b1"}


def test_other_files_links_and_folders_are_refused(path: Path) -> None:
    path.write_text("my notes", "utf-8")
    assert "a file of another kind" in refusal(path)
    path.unlink()
    path.mkdir()
    assert "not a regular file" in refusal(path)
    path.rmdir()
    aim = path.with_name("mine")
    aim.write_bytes(b"")
    path.symlink_to(aim)
    assert "not a regular file" in refusal(path)


def test_a_full_disk_does_not_end_the_run(
    path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    keeper = Checkpoint(path, 0.0, CASE, False)
    keeper.keep(ARRAYS)
    before = path.read_bytes()

    def full(_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(module.os, "fsync", full)
    keeper.keep(ARRAYS)
    keeper.keep(ARRAYS)
    assert path.read_bytes() == before
    assert [one.name for one in path.parent.iterdir()] == [path.name]
    told = f"{path} could not be written: No space left on device; the run goes on\n"
    assert capfd.readouterr().err == told
