"""Steps in time: their stages, those of a pause, a taper and a wait for the start to cool."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from invariance.small import SMALL, text_of
from lapheat import simulate
from lapheat.case.case import Case
from lapheat.case.file import read_case_text
from lapheat.joint.lines import DETAILS
from lapheat.march import steps
from lapheat.march.steppers.compiled import stages_for
from lapheat.march.steps import LONGEST_STEP, REST_ERROR, arc_step, rest_step, rest_steps
from support.joints import case_of


@pytest.fixture
def case() -> Case:
    return read_case_text(text_of(SMALL), "small.toml")


@pytest.mark.parametrize("seconds", [0.0, 0.01, 1.0, 10.0, 15.0, 400.0])
def test_steps_of_a_pause_fill_it(case: Case, seconds: float) -> None:
    rests = rest_steps(case, seconds)
    gone = np.concatenate([[0.0], np.cumsum(rests)])
    assert gone[-1] == pytest.approx(seconds)
    longest = [rest_step(case, t) for t in gone[:-1]]
    assert (np.array(rests) <= 1.1 * np.array(longest)).all()  # the one where growth ends
    assert max(rests, default=0.0) <= LONGEST_STEP * (1.0 + 1e-9)
    assert (np.diff(rests) > -1e-9).all()


def test_steps_of_a_pause_go_with_the_cells(case: Case) -> None:
    """At standard 3.5 cells in a spot for 2: the first step and the growth are 2 / 3.5 of these."""
    finer = replace(case, detail="standard")
    assert rest_step(case, 0.0) == pytest.approx(arc_step(case))
    for gone in (0.0, 1.0, 10.0):
        assert rest_step(finer, gone) == pytest.approx(rest_step(case, gone) * 2.0 / 3.5)
        assert rest_step(case, gone, 2.0) == pytest.approx(0.5 * rest_step(case, gone))


def test_taper_fades_and_resume_below_waits() -> None:
    case = case_of(
        "travel.taper=1 s",
        "travel.dwell=0.5 s",
        "travel.coverage=0.25",
        "travel.resume_below=90 degC",
    )
    history = simulate(case, threads=1).history
    trace, (one, two) = history.trace, history.segments
    fading = trace.current[(trace.time > one.end - 1.0 + 1e-9) & (trace.time <= one.end + 1e-9)]
    assert np.all(np.diff(fading) < 0.0)
    assert fading[-1] < 0.3 * 60.0
    assert history.arc_on == pytest.approx(2 * (0.5 + 1.0 + case.tube.circumference / 8 / 0.003))
    assert 89.8 + 273.15 < two.start_temperature < 90.0 + 273.15  # not a long step later
    assert two.start - one.end > 1.0 + 1e-6  # waited longer than the pause
    assert abs(history.ledger.imbalance) < 1e-12


def test_stages_cover_the_step() -> None:
    """Step <= explicit limit x (s^2 + s - 2) / 4: Meyer, Balsara and Aslam 2014."""
    for ratio in (0.1, 1.0, 2.4, 2.6, 30.0, 5000.0):
        s = stages_for(ratio, 1.0)
        assert s % 2 == 1
        assert ratio <= (s * s + s - 2) / 4
        assert s == 3 or ratio > ((s - 2) ** 2 + (s - 2) - 2) / 4


@pytest.mark.parametrize("detail", ["coarse", "standard"])
def test_a_pause_is_within_its_tolerance(detail: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The next start against a pause in steps an eighth as long."""
    case = replace(case_of("travel.pause=12 s", "travel.coverage=0.25"), detail=detail)

    def start() -> float:
        return simulate(case, threads=1).history.segments[1].start_temperature

    usual = start()
    rise = usual - case.surroundings.temperature
    cells = DETAILS[detail].per_spot / DETAILS["coarse"].per_spot
    monkeypatch.setattr(steps, "REST_ERROR", REST_ERROR / 64.0)
    assert rise > 50.0
    assert abs(usual - start()) / rise <= REST_ERROR / cells**2
