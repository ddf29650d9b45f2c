"""Kept machine code: damaged or somebody else's it is not run, unwritable it is not missed."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, NoReturn

import pytest

from lapheat.march.kernels import jit, kept


def thrice(number: float) -> float:
    return 3.0 * number


@pytest.fixture
def code(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[[], Any]:
    """Compile the function as a new process would."""
    monkeypatch.setattr(jit, "_FOLDER", tmp_path)

    def made() -> Any:
        kept._SAID.clear()
        return jit.plain(thrice)

    return made


def hits(function: Any) -> int:
    """How often it came from the disk; it gives the right number."""
    assert function(2.0) == 6.0
    return sum(function.stats.cache_hits.values())


def test_code_is_kept(code: Callable[[], Any], capsys: pytest.CaptureFixture[str]) -> None:
    assert [hits(code()) for _ in range(3)] == [0, 1, 1]
    assert capsys.readouterr().err == ""


DAMAGE: dict[str, Callable[[bytes], bytes]] = {
    "empty": lambda _: b"",
    "cut": lambda data: data[: len(data) // 2],
    "junk": lambda data: bytes(17 * n % 251 for n in range(len(data))),
    "zeros": lambda data: bytes(len(data)),
    "a bit": lambda data: data[:-20] + bytes([data[-20] ^ 1]) + data[-19:],
}


@pytest.mark.parametrize(
    ("ending", "what"),
    [("nbc", "a bit"), *((e, w) for e in ("nbi", "nbc") for w in list(DAMAGE)[:4])],
)
def test_damaged_code_is_compiled_again_and_said_once(
    ending: str,
    what: str,
    code: Callable[[], Any],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert hits(code()) == 0
    (file,) = tmp_path.rglob(f"*.{ending}")
    file.write_bytes(DAMAGE[what](file.read_bytes()))
    again = code()
    assert hits(again) == 0
    assert again(2) == 6  # a second signature finds the same damage
    told = capsys.readouterr().err
    assert told.count("is damaged: it is compiled again") == 1
    assert hits(code()) == 1


def test_code_that_is_gone_is_compiled_again(code: Callable[[], Any], tmp_path: Path) -> None:
    assert hits(code()) == 0
    for file in tmp_path.rglob("*.nbc"):
        file.unlink()
    assert [hits(code()), hits(code())] == [0, 1]


def test_a_full_disk_is_no_failure(
    code: Callable[[], Any], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def full(*_: object) -> NoReturn:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(kept._Files, "_open_for_write", full)
    function = code()
    assert hits(function) == 0
    assert function(2) == 6
    told = capsys.readouterr().err
    assert told.count("cannot be kept") == told.count("No space left on device") == 1


@pytest.fixture
def bases(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """Where caches are kept, and where temporary files are."""
    base, spare = tmp_path / "caches", tmp_path / "temporary"
    spare.mkdir()
    monkeypatch.setattr(jit.config, "CACHE_DIR", str(base))
    monkeypatch.setattr(kept.tempfile, "gettempdir", lambda: str(spare))
    return base, spare


@pytest.mark.parametrize("mask", [0o022, 0o002, 0o000])
def test_the_folder_is_the_users_own(bases: tuple[Path, Path], mask: int) -> None:
    before = os.umask(mask)
    try:
        place = kept.folder()
    finally:
        os.umask(before)
    assert place is not None
    assert place.is_relative_to(bases[0])
    assert [part.stat().st_mode & 0o777 for part in (place, place.parent, bases[0])] == [0o700] * 3
    assert kept.folder() == place


@pytest.mark.parametrize("loose", ["base", "lapheat", "mark"])
def test_a_folder_that_others_may_write_is_not_used(bases: tuple[Path, Path], loose: str) -> None:
    place = kept.folder()
    assert place is not None
    {"base": bases[0], "lapheat": place.parent, "mark": place}[loose].chmod(0o757)
    other = kept.folder()
    assert other is not None
    assert other.is_relative_to(bases[1])


@pytest.mark.skipif(os.getuid() != 0, reason="only root can give a folder away")
@pytest.mark.parametrize("whose", ["base", "lapheat", "mark", "a link"])
def test_a_folder_of_another_user_is_not_used(bases: tuple[Path, Path], whose: str) -> None:
    place = kept.folder()
    assert place is not None
    if whose == "a link":
        bases[0].rename(bases[0].with_name("elsewhere"))
        bases[0].symlink_to(bases[0].with_name("elsewhere"))
        assert kept.folder() == place
        os.lchown(bases[0], 12345, 12345)
    else:
        parts = {"base": bases[0], "lapheat": place.parent, "mark": place}
        os.chown(parts[whose], 12345, 12345)
    other = kept.folder()
    assert other is not None
    assert other.is_relative_to(bases[1])


def test_with_no_folder_of_its_own_nothing_is_kept(
    bases: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    (bases[1] / f"cache-{os.getuid()}").mkdir()
    (bases[1] / f"cache-{os.getuid()}").chmod(0o777)
    bases[0].write_text("a file")
    assert kept.folder() is None
    monkeypatch.setattr(jit, "_FOLDER", None)
    assert hits(jit.plain(thrice)) == 0
