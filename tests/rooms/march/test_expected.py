"""What is foretold of a run before it: cells, steps, times."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from invariance.small import SMALL, text_of
from lapheat.api import simulate
from lapheat.case.file import CaseError, read_case, read_case_text
from lapheat.march.expected import STAGE, expected_of, refuse_long, seconds_of, stages_of
from lapheat.march.steps import stages_for
from lapheat.problem.setup import problem_of
from support.case_texts import (
    ALLOY,
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
    limit = history.problem.explicit_limit
    stages = sum(stages_for(dt, limit) for dt in np.diff(history.trace.time).tolist())
    assert stages_of(case, limit) == pytest.approx(stages, rel=0.3)
    assert seconds_of(case, limit) == STAGE * told.cells * stages_of(case, limit)


# of the weight of foam, and a far better conductor than copper: the most extreme a case may have
SWIFT = ALLOY.replace("7900", "10").replace('"15 W', '"5000 W').replace('"500 J', '"10 J')


def test_a_run_without_an_end_is_refused_before_it_begins() -> None:
    case = read_case_text(BASE + SWIFT, "x", ("tube.alloy=mine",))
    limit = problem_of(case).explicit_limit
    assert expected_of(case).steps < 2000  # so steps alone told nothing
    hours = seconds_of(case, limit) / 3600.0
    assert hours > 2.0
    with pytest.raises(
        CaseError, match=r"at most 2 hours on one core; this one takes some"
    ) as told:
        simulate(case)
    assert "--hours" in str(told.value)
    refuse_long(case, limit, 1.01 * hours)
    with pytest.raises(CaseError):
        refuse_long(case, limit, 0.99 * hours)


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
