"""`lapheat run --film --fields`: what is written beside the rest, and how it is refused."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from rich.progress import Progress

from invariance.small import SMALL, text_of
from lapheat.case.file import read_case_text
from lapheat.cli.terminal.progress import Meter
from lapheat.march.recorder import Progress as Where
from support.commands import Call


def test_film_and_fields_are_in_the_result_and_are_named(folder: Path, call: Call) -> None:
    (folder / "small.toml").write_text(text_of(SMALL), "utf-8")
    status, out, err = call("run", "small.toml", "--film", "--fields")
    assert (status, err) == (0, "")
    result = folder / "small.out"
    assert (result / "film.mp4").stat().st_size > 10_000
    written = sorted(path.name for path in (result / "fields").iterdir())
    assert written[-2:] == ["temperature.nc", "temperature.pvd"]
    assert "film.mp4" in out
    assert "fields/temperature.pvd" in out
    assert call("run", "small.toml")[0] == 0  # it may be replaced
    assert not (result / "fields").exists()


def test_fields_without_their_writer_are_refused_before_the_run(
    folder: Path, call: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "vtkmodules.vtkIOXML", None)
    status, out, err = call("run", "stub.toml", "--fields")
    assert (status, out) == (2, "")
    assert "pip install 'lapheat[fields]'" in err
    assert not (folder / "stub.out").exists()


def test_what_follows_the_march_shows_how_much_of_it_is_left() -> None:
    clock = iter(range(100))
    bar = Progress(get_time=lambda: float(next(clock)), disable=True)
    meter = Meter(bar, read_case_text(text_of(SMALL), "small.toml"), 10.0)
    for done in range(6):
        meter.count("drawing the film", done, 20)
    (task,) = bar.tasks
    assert task.description == "drawing the film, 5 of 20"
    assert (task.completed, task.total) == (5, 20)
    assert task.time_remaining is not None
    assert task.time_remaining > 0.0


def test_without_a_terminal_a_long_run_says_once_a_minute_what_is_left(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = [0.0]
    monkeypatch.setattr("lapheat.cli.terminal.sweep.monotonic", lambda: clock[0])
    meter = Meter(None, read_case_text(text_of(SMALL), "small.toml"), 400.0)
    for clock[0] in (0.0, 30.0, 61.0, 100.0):
        meter(Where(1, 0, 8, clock[0], 1000.0, 900.0))
    for clock[0], done in ((110.0, 0), (140.0, 10), (170.0, 20)):
        meter.count("drawing the film", done, 80)
    lines = capsys.readouterr().err.splitlines()
    assert [line.rpartition(", ")[2] for line in lines] == ["about 6 min left", "about 3 min left"]
    assert lines[0].startswith("segment 1 (1 of 8), 61.0 s, ")
    assert lines[1].startswith("drawing the film, 20 of 80")
