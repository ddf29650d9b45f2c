"""Soundness of a small joint: both marches, two steels of different carbon, a bead."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from lapheat import simulate
from lapheat.api import Result
from lapheat.case.alloys import builtin
from lapheat.case.case import Case
from lapheat.march.march import march
from lapheat.march.state import Stepper
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.outcomes.soundness import SoundnessOutcome, soundness_of
from lapheat.problem.problem import Problem
from lapheat.problem.setup import job_of
from lapheat.report.document import report_html
from lapheat.report.terminal import report_of
from support.html import Page
from support.joints import case_of, small_case

STEPPERS: dict[str, Callable[[Problem], Stepper]] = {
    "compiled": lambda problem: CompiledStepper(problem, threads=1),
    "fipy": FipyStepper,
}
NUMBERS = (
    *("sensitised_fraction", "sensitised_fraction_cold_worked", "sensitised_fraction_as_304"),
    *("liquid_copper_s", "tube_liquid_copper_s", "flange_liquid_copper_s"),
    *("tint_width_m", "bore_tint_m", "hot_clearance_m"),
    *("flange_t85_s", "flange_t85_shortest_s", "flange_above_a1_s"),
)


def joint_of(steel: str) -> Case:
    """One segment on a tube of this steel in a thin flange, which stays hot for seconds."""
    case = small_case()
    assert case.flange is not None
    assert case.lap is not None
    return replace(
        case,
        tube=replace(case.tube, alloy=steel),
        flange=replace(case.flange, thickness=1.5e-3),
        lap=replace(case.lap, depth=1.5e-3),
        arc=replace(case.arc, current=75.0),
        travel=replace(case.travel, coverage=0.13, speed=2.5e-3),
        alloys={**case.alloys, steel: builtin(steel)},
    )


@pytest.fixture(scope="module")
def marched() -> dict[str, SoundnessOutcome]:
    """In steps a third as long as usual: on so small a joint each is a tenth of what is timed."""
    job = job_of(joint_of("304"))
    return {
        name: soundness_of(march(job, make(job.problem), shorter=3.0))
        for name, make in STEPPERS.items()
    }


@pytest.mark.parametrize("name", NUMBERS)
def test_both_marches_agree_within_a_hundredth(
    marched: dict[str, SoundnessOutcome], name: str
) -> None:
    one, other = (getattr(sound, name) for sound in marched.values())
    assert other > 0.0
    assert one == pytest.approx(other, rel=0.01)


def test_304_and_304l_are_orders_of_magnitude_apart() -> None:
    """The two differ in carbon alone here, so one run tells what the other would have used."""
    high, low = (simulate(joint_of(steel), threads=1) for steel in ("304", "304L"))
    np.testing.assert_array_equal(
        high.history.surfaces["tube bore"].peak, low.history.surfaces["tube bore"].peak
    )
    one, other = high.outcomes.soundness, low.outcomes.soundness
    assert one.sensitised_fraction is not None
    assert other.sensitised_fraction is not None
    assert one.sensitised_fraction > 100.0 * other.sensitised_fraction > 0.0
    assert other.sensitised_fraction_as_304 == pytest.approx(one.sensitised_fraction, rel=1e-12)


def page_of(result: Result) -> str:
    return Page(report_html(result.history, result.outcomes, [], "2026-11-28")).words()


def test_what_is_sound_is_told_in_short_rows_and_whole_in_the_report() -> None:
    result = simulate(joint_of("304"), threads=1)
    text = StringIO()
    Console(file=text, width=10_000).print(report_of(result.history, result.outcomes))
    rows = {line[:17].strip(): line.strip() for line in text.getvalue().splitlines()}
    page = page_of(result)
    for word in ("sensitised", "liquid copper", "heat tint", "flange cooling", "puddle"):
        assert 0 < len(rows[word]) <= 130
        assert word in page
    assert "from memory" in rows["sensitised"]
    assert "no published limit" in rows["liquid copper"]
    assert "seconds shown: compare your own trials" in page
    assert "bent, swaged, cold-drawn or clamped" in page
    assert "400 degC: common practice, no source" in page


def test_a_flange_of_a_users_own_has_a_reason_and_no_cooling() -> None:
    case = joint_of("304")
    steel = replace(case.alloys["low-carbon steel"], a1=None, a3=None)
    result = simulate(replace(case, alloys={**case.alloys, steel.name: steel}), threads=1)
    told = page_of(result)
    assert "cooling of the flange: low-carbon steel has no A1 and no A3" in told
    assert "EN 1011-2 has" not in told


def test_a_bead_has_sensitisation_and_tint_alone() -> None:
    case = replace(case_of(), joint="bead-on-tube", flange=None, lap=None, fillet=None)
    sound = simulate(replace(case, travel=replace(case.travel, coverage=0.2)), threads=1)
    found = sound.outcomes.soundness
    assert found.tint_width_m > 1e-3
    assert found.bore_tint_m == pytest.approx(2.0 * found.tint_width_m, rel=0.1)
    assert found.sensitised_fraction is not None
    assert found.sensitised_fraction > 0.0
    assert found.liquid_copper_s is found.flange_t85_s is None
