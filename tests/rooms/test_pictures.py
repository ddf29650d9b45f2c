"""What a person looks at looks as it did, within a tolerance: see `support.pictures`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from lapheat.api import Result
from lapheat.history.records import History
from lapheat.outcomes.from_history import outcomes_of
from lapheat.report.figures import current, histories, peaks, schedule, section, write_png
from lapheat.report.figures.style import styled
from lapheat.report.sheet import save_sheet
from lapheat.study.compare.compare import compare_runs
from lapheat.study.compare.entries import of_result
from lapheat.study.compare.figure import overlaid
from support.pictures import SAME, apart, hold, small
from support.runs import run_with
from support.synthetic import make_case, make_history

KEPT = Path(__file__).with_name("pictures")
WARMER = 20.0  # [K]


def demo(more: float = 0.0) -> History:
    return make_history(make_case(), peak=1562.15 + more)


def by_pedal(more: float = 0.0) -> History:
    run = demo(more)
    arc = replace(run.case.arc, control="pedal", hold=1500.0 + more)
    return replace(run, case=replace(run.case, arc=arc))


def draw(figure: Callable[[History], object], run: History, path: Path) -> Path:
    with styled():
        write_png(figure(run), path)  # type: ignore[arg-type]  # `object`: a Figure, untold
    return path


FIGURES = {
    "peaks": (peaks, demo),
    "histories": (histories, demo),
    "section": (section, demo),
    "schedule": (schedule, demo),
    "current": (current, by_pedal),
}


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_of_a_run(name: str, tmp_path: Path, rewrite: bool) -> None:
    figure, run = FIGURES[name]
    hold(draw(figure, run(), tmp_path / f"{name}.png"), KEPT / f"{name}.png", rewrite)


@pytest.mark.parametrize("name", FIGURES)
def test_a_run_some_kelvin_warmer_looks_different(name: str, tmp_path: Path) -> None:
    figure, run = FIGURES[name]
    one = small(draw(figure, run(), tmp_path / "one.png"))
    other = small(draw(figure, run(WARMER), tmp_path / "other.png"))
    assert apart(one, other) > 2.0 * SAME


def test_the_sheet(tmp_path: Path, rewrite: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    # these two change without a change of the sheet
    monkeypatch.setattr("lapheat.report.sheet.words.__version__", "0.0.0")
    monkeypatch.setattr("lapheat.report.sheet.words.digest_of", lambda _: 12 * "0")
    run = run_with()
    save_sheet(run, outcomes_of(run), tmp_path, "2026-11-28")
    hold(tmp_path / "sheet.png", KEPT / "sheet.png", rewrite)


def test_runs_compared(tmp_path: Path, rewrite: bool) -> None:
    runs = {"cool": run_with(1500.0), "hot": run_with(1600.0, 1500.0)}
    found = compare_runs(
        [of_result(Result(run.case, run, outcomes_of(run)), name) for name, run in runs.items()]
    )
    write_png(overlaid(found), tmp_path / "compare.png")
    hold(tmp_path / "compare.png", KEPT / "compare.png", rewrite)
