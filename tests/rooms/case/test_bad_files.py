"""Files that are no case files, and changes from the command line that are refused."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from lapheat.case.file import CaseError, Fault, file_text, read_case, read_case_text
from support.case_texts import BASE, PROBE, faults_of, the_fault


@pytest.mark.parametrize(
    ("override", "key", "given", "allowed"),
    [
        ("tube.wal=1 mm", "tube.wal", '"1 mm"', "a key of [tube]"),
        ("tube.wall=30 mm", "tube.wall", '"30 mm"', "a length from 0.1 mm"),
        ("travel.pause=30", "travel.pause", "30", "a time from"),
        ("travel.pause=", "travel.pause", '""', "a time from"),
        ("travel.order=[1,1]", "travel.order", "[1, 1]", "each once"),
        ("travel.start=when hot", "travel.start", '"when hot"', "on-flow"),
        ("title=", "title", '""', "one line of text"),
        ("wall=1 mm", "wall", '"1 mm"', "title, joint, tube"),
        ("foo.bar=1", "foo", "{ bar = 1 }", "title, joint, tube"),
        ("probe.toe.height=1 mm", "probe.toe.height", '"1 mm"', "a key of a table"),
        ("travel.pause", "travel.pause", '"travel.pause"', "KEY=VALUE"),
        ("=3", "nothing", '"=3"', "KEY=VALUE"),
        ("tube..wall=3 mm", "tube..wall", '"tube..wall=3 mm"', "KEY=VALUE"),
        ("tube={}", "tube.outside_diameter|tube.wall", "nothing", "a length from"),
    ],
)
def test_bad_override_names_set_as_its_source(
    override: str, key: str, given: str, allowed: str
) -> None:
    faults = faults_of(BASE + PROBE, override)
    assert [fault.key for fault in faults] == key.split("|")
    for fault in faults:
        assert fault.file == "--set"
        assert given in fault.given
        assert allowed in fault.allowed


def test_bad_detail_names_its_source() -> None:
    with pytest.raises(CaseError) as caught:
        read_case_text(BASE, "stub.toml", detail="corse")
    (fault,) = caught.value.faults
    assert (fault.file, fault.key, fault.hint) == (
        "--detail",
        "numerics.detail",
        'did you mean "coarse"?',
    )


# File and bytes, key, given, and hint
BAD_FILES = [
    (b"", "file", "nothing", "lapheat new"),
    (b"\n# only a comment\n", "file", "nothing", "lapheat new"),
    (b"\xff\xfe[\x00t\x00", "file", "first in line 1", "UTF-8"),
    (b'# ok\ntitle = "\xe9t\xe9"\n', "file", "first in line 2", "UTF-8"),
    (b"[tube\n", "line 1", "[tube", ""),
    (b"[tube]\nwall = 0.065 in\n", "line 2", "wall = 0.065 in", "in quotes"),
    (b'[tube]\nwall = "1 mm"\nwall = "2 mm"\n', "line 3", "wall", "overwrite"),
    (b"just words\n", "line 1", "just words", ""),
    (b"# ok\na = " + b"[" * 5000, "line 2", "too deep: over 8 open brackets", ""),
    (b"[tube]\n" + b"a." * 100_000 + b"b = 1", "line 2", "a key of more than 8 parts", ""),
    (b"a = " + b"9" * 6000, "file", "not TOML", ""),
    (b"#" * 1_000_001, "file", "1.0 MB", ""),
    (b'title = "a\x00b"', "line 1", "title", ""),
]


@pytest.mark.parametrize(("data", "key", "given", "hint"), BAD_FILES)
def test_bad_file(tmp_path: Path, data: bytes, key: str, given: str, hint: str) -> None:
    path = tmp_path / "stub.toml"
    path.write_bytes(data)
    with pytest.raises(CaseError) as caught:
        read_case(path)
    (fault,) = caught.value.faults
    assert fault.file == str(path)
    assert fault.key == key
    assert given in fault.given
    assert hint in fault.hint
    assert "\x00" not in str(caught.value)


def test_missing_file_suggests_its_neighbour(tmp_path: Path) -> None:
    (tmp_path / "flue-stub.toml").write_text(BASE)
    with pytest.raises(CaseError, match=r'no such file(.|\n)*did you mean "flue-stub.toml"'):
        read_case(tmp_path / "flue-stup.toml")


def test_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="no such file"):
        read_case(tmp_path / "none" / "stub.toml")


def test_folder_is_no_case_file(tmp_path: Path) -> None:
    with pytest.raises(CaseError, match="given:   a folder"):
        read_case(tmp_path)


def test_unreadable_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "stub.toml"
    path.write_text(BASE)

    for error in (PermissionError(13, "Permission denied"), BlockingIOError(11, "Try again")):

        def refuse(*_: object, error: OSError = error) -> int:
            raise error

        with monkeypatch.context() as patch:
            patch.setattr(os, "open", refuse)
            with pytest.raises(CaseError, match="cannot be read"):
                read_case(path)


@pytest.mark.skipif(not Path("/proc/self/maps").exists(), reason="a file without a size")
def test_a_file_that_hides_its_size_is_not_read_to_its_end() -> None:
    with pytest.raises(CaseError, match="more than 0 MB"):
        file_text("/proc/self/maps", "a small file", 100)


def test_pipe_is_no_case_file(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")
    with pytest.raises(CaseError, match="not a regular file"):
        read_case(tmp_path / "pipe.toml")


@pytest.mark.parametrize("path", ["a\x00b.toml", "x" * 5000])
def test_impossible_path(path: str) -> None:
    with pytest.raises(CaseError, match="cannot be read"):
        read_case(path)


def test_message_cannot_steer_a_terminal() -> None:
    text = str(CaseError([Fault("a\x1b[2J.toml", "k", "g", "a")]))
    fault = the_fault(BASE, "title=\x1b[31m\udcff")
    assert "\x1b" not in text + fault.given
    fault.given.encode("utf-8")
