"""What is foretold of a run before it: cells, steps, times."""

from __future__ import annotations

from pathlib import Path

import pytest

from invariance.small import SMALL, text_of
from lapheat.api import simulate
from lapheat.case.file import read_case, read_case_text
from lapheat.march.expected import expected_of
from support.case_texts import (
    ARC_TACK,
    BASE,
)

ROOT = Path(__file__).parents[3]


def test_expected_size_is_that_of_the_run() -> None:
    """Exactly, for a hand that keeps to the clock: nobody knows beforehand how long it waits."""
    by_clock = ["travel.start=timed", "travel.dwell=2 s", "travel.coverage=0.2"]
    case = read_case(ROOT / "cases" / "flue-stub.toml", by_clock, "coarse")
    told, history = expected_of(case), simulate(case, threads=1).history
    assert told.cells == history.problem.mesh.cells
    assert told.arc_steps == int((history.trace.current[1:] > 0.0).sum())
    assert told.arc_on == pytest.approx(history.arc_on, rel=1e-12)
    assert told.total <= history.total + 1e-9  # the case may wait for its start points to cool


def test_expected_time_and_steps_without_waits() -> None:
    case = read_case(ROOT / "cases" / "test-bead.toml", ["travel.coverage=0.25"], "coarse")
    told, history = expected_of(case), simulate(case, threads=1).history
    assert case.travel.resume_below is None
    assert (told.segments, told.ring) == (2, case.segment_count)
    assert told.total == pytest.approx(history.total, rel=1e-12)
    assert told.steps == pytest.approx(history.steps, rel=0.3)


def test_expected_arc_steps_of_a_pedal_are_exact() -> None:
    text = text_of(SMALL, arc__control="pedal", travel__taper="0.5 s")
    case = read_case_text(text, "small.toml")
    result = simulate(case, threads=1)
    assert expected_of(case).arc_steps == int((result.history.trace.current > 0.0).sum())
    assert expected_of(case).arc_on == pytest.approx(result.outcomes.time.arc_on_s)


def test_check_counts_tack_arcs() -> None:
    without, tacked = (expected_of(read_case_text(t, "x")) for t in (BASE, BASE + ARC_TACK))
    assert tacked.arc_on == pytest.approx(without.arc_on + 3.0)
    assert tacked.total == pytest.approx(without.total + 3.0 + 15.0)  # and a pause
    assert tacked.arc_steps > without.arc_steps
