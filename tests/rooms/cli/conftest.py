"""What the tests of the command line share: a way to call it, and a folder to stand in."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from lapheat.cli import main
from support.commands import CASE, Call


@pytest.fixture
def call(monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]) -> Call:
    """Call the command line as the console script does: status, stdout, stderr."""

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["lapheat", *arguments])
        with pytest.raises(SystemExit) as left:
            main()
        out, err = capfd.readouterr()
        return int(left.value.code or 0), out, err

    return run


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Folder to stand in, with one case in it."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "stub.toml").write_text(CASE, "utf-8")
    return tmp_path
