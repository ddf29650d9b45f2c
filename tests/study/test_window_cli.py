"""`lapheat window` as a user meets it: answers, refusals, Ctrl-C, and a killed sweep resumed."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from lapheat.cli import main
from lapheat.report.sentences import CAUTIONS

ROOT = Path(__file__).parents[2]
BEAD = """
title = "A short bead"
joint = "bead-on-tube"
tube = { outside_diameter = "8 mm", wall = "1 mm", length = "12 mm" }
arc = { current = "20 A", spot = "1.6 mm" }
travel = { speed = "3 mm/s", segment = "9 mm", pause = "1 s", coverage = 0.3 }
"""
VARY = ("--vary", "arc.current=10 A:40 A:4", "--vary", "travel.speed=2 mm/s:6 mm/s:4")

Call = Callable[..., tuple[int, str, str]]


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
    (tmp_path / "bead.toml").write_text(BEAD, "utf-8")
    return tmp_path


def content(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def lines(path: Path) -> int:
    return path.read_bytes().count(b"\n") if path.exists() else 0


def cut_short(folder: Path, with_signal: int, workers: str, more: int) -> tuple[int, str]:
    """Start the command and send it a signal after some more rows; status and stderr."""
    command = [sys.executable, "-c", "from lapheat.cli import main; main()"]
    command += ["window", "bead.toml", *VARY, "--workers", workers, "--resume"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "sim")}
    kept = folder / "bead.window.rows.jsonl"
    wanted = lines(kept) + more
    pipe = subprocess.PIPE
    with subprocess.Popen(command, env=environment, stderr=pipe, text=True, cwd=folder) as sweep:
        while lines(kept) < wanted and sweep.poll() is None:
            time.sleep(0.002)
        at = Path(f"/proc/{sweep.pid}/task/{sweep.pid}/children")
        children = [int(pid) for pid in at.read_text().split()]
        sweep.send_signal(with_signal)
        told = sweep.communicate()[1]
    ended = time.monotonic() + 60.0
    while any(map(alive, children)):
        assert time.monotonic() < ended, "workers outlive the command"
        time.sleep(0.05)
    return sweep.returncode, told


def alive(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text()
    except FileNotFoundError:
        return False
    return state.rpartition(")")[2].split()[0] != "Z"


def test_a_sweep_cut_short_goes_on_and_ends_in_the_same_files(call: Call, folder: Path) -> None:
    status, out, _ = call("window", "bead.toml", *VARY, "--workers", "1", "--out", "whole")
    assert status == 0
    assert "work" in out
    assert CAUTIONS[0] in out
    kept = folder / "bead.window.rows.jsonl"
    status, told = cut_short(folder, signal.SIGINT, "2", 5)
    assert status == 130
    assert f"finished runs are kept in {kept}; --resume goes on from them" in told
    assert lines(kept) >= 5
    assert cut_short(folder, signal.SIGKILL, "2", 6)[0] == -signal.SIGKILL
    assert lines(kept) >= 11
    assert not (folder / "bead.window").exists()

    status, _, err = call("window", "bead.toml", *VARY)
    assert status == 2
    assert "an unfinished sweep" in err
    assert "--resume" in err

    assert call("window", "bead.toml", *VARY, "--workers", "1", "--resume")[0] == 0
    assert content(folder / "bead.window") == content(folder / "whole")
    assert sorted(path.name for path in folder.iterdir()) == ["bead.toml", "bead.window", "whole"]

    # all rows are there: a finer axis beside them, or the same again, runs only what is new
    before = json.loads((folder / "bead.window" / "window.json").read_text("utf-8"))
    began = time.monotonic()
    assert call("window", "bead.toml", *VARY, "--workers", "1", "--resume")[0] == 0
    assert time.monotonic() - began < 10.0
    assert json.loads((folder / "bead.window" / "window.json").read_text("utf-8")) == before


def test_a_bead_has_one_boundary(call: Call, folder: Path) -> None:
    arguments = ("--vary", "arc.current=10 A:40 A:3", "--vary", "travel.speed=2 mm/s:6 mm/s:3")
    status, out, err = call(
        "window", "bead.toml", *arguments, "--workers", "1", "--detail", "coarse"
    )
    assert status == 0
    assert err.startswith("At most 253 runs at coarse detail and 18 at standard detail, 1 at once")
    assert "Next: lapheat " in out
    told = json.loads((folder / "bead.window" / "window.json").read_text("utf-8"))
    assert len(told["boundaries"]["base_melts"]) == 1
    assert told["boundaries"]["filler_cold"] == []
    assert {run["filler_flows"] for run in told["runs"]} == {True}
    assert told["pick"]["confirmed"]["base_stays_solid"] is True
    assert len(told["differences"]) == 1  # of the case's own standard mesh, by its one boundary


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (("--sure", "9"), "a share from 50 % to 99 %"),
        (("--sure", "90%", "--free", "arc.current"), "nothing beside --sure"),
        (("--vary", "arc.curent=1 A:2 A:3"), 'did you mean "arc.current"'),
        (("--free", "arc.aim"), "a key with a value above zero in this case"),
        (("--workers", "2", "--cluster", "tcp://127.0.0.1:9"), "nothing beside --workers"),
        (("--cluster", "nowhere"), "the address of a running scheduler"),
        (("--set", "arc.current=3"), "no unit"),
        (("--detail", "rough"), '"coarse" or "standard" or "fine"'),
        (("--out", "bead.toml"), "a file"),
        (
            ("--vary", "arc.current=10 A:40 A:200", "--vary", "travel.pause=1 s:9 s:200"),
            "at most 20000 points",
        ),
    ],
)
def test_what_is_refused_leaves_nothing(
    call: Call, folder: Path, arguments: tuple[str, ...], told: str
) -> None:
    status, _, err = call("window", "bead.toml", *arguments)
    assert status == 2
    assert told in err
    assert "Traceback" not in err
    assert [path.name for path in folder.iterdir()] == ["bead.toml"]
