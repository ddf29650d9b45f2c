"""Every step is guarded: a stepper made to go wrong ends the march, which says where and when."""

from __future__ import annotations

import re
from collections.abc import Callable

import numpy as np
import pytest

from lapheat.march.errors import MarchError
from lapheat.march.march import march
from lapheat.march.safety import guard
from lapheat.march.state import State, Stepper
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.march.steppers.fipy import FipyStepper
from lapheat.problem.setup import job_of
from support.joints import small_case

STEP = 5  # after which it goes wrong
JOB = job_of(small_case())
SECTION = JOB.problem.mesh.section
TUBE, FLANGE = int(SECTION.tube[3, 1]), int(SECTION.flange[2, 1])


class Wrong:
    """A stepper that spoils the state once."""

    name, memory = "wrong", None

    def __init__(self, inner: Stepper, spoil: Callable[[State], float]) -> None:
        self.inner, self.spoil, self.taken = inner, spoil, 0

    def advance(self, state: State, dt: float) -> float:
        self.taken += 1
        lost = self.inner.advance(state, dt)
        return lost + (self.spoil(state) if self.taken == STEP else 0.0)


def cell(at: int, value: float) -> Callable[[State], float]:
    def spoil(state: State) -> float:
        state.h[at, 7] = value
        return 0.0

    return spoil


def failed(spoil: Callable[[State], float], inner: Stepper | None = None) -> MarchError:
    with pytest.raises(MarchError) as caught:
        march(JOB, Wrong(inner or CompiledStepper(JOB.problem, 1), spoil))
    return caught.value


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (cell(TUBE, np.nan), r"not a number in the tube at \d+ deg"),
        (cell(FLANGE, np.inf), r"not a number in the flange at \d+ deg"),
        (cell(TUBE, 1e9), r"[\d.e+]+ K, which no metal has, in the tube at"),
        (cell(FLANGE, -4e5), r"-[\d.]+ K, which no metal has, in the flange at"),
        (lambda _: 0.5, r"the heat does not add up: 0\.5 J of [\d.]+ J came from nowhere"),
        (lambda _: -0.5, r"the heat does not add up: 0\.5 J of [\d.]+ J is missing"),
        (lambda _: np.nan, r"the heat does not add up: nan J"),
    ],
)
def test_what_goes_wrong_is_named(spoil: Callable[[State], float], said: str) -> None:
    error = failed(spoil)
    assert re.search(said, str(error)), error
    when = re.search(r"([\d.]+) s into the run \(segment 1\)$", str(error))
    assert when is not None
    so_far = error.so_far
    assert so_far is not None
    assert len(so_far.trace.time) == STEP  # the start, and every step before the bad one
    assert so_far.trace.time[-1] < float(when[1])
    assert np.isfinite(so_far.trace.tube).all()


def test_the_other_march_is_guarded_too() -> None:
    for spoil in (cell(TUBE, np.nan), lambda _: 0.5):
        assert "s into the run (segment 1)" in str(failed(spoil, FipyStepper(JOB.problem)))


def test_the_place_is_that_of_the_cell() -> None:
    said = str(failed(cell(TUBE, np.nan)))
    corners = SECTION.vertices[SECTION.cells[TUBE]].mean(axis=0)
    angle = np.degrees(JOB.problem.mesh.layer_angles()[7])
    place = f"{angle:.0f} deg, {1e3 * corners[0]:.2f} mm from the axis, {1e3 * corners[1]:+.2f} mm"
    assert place in said


def test_a_surface_alone_is_looked_at_too() -> None:
    def spoil(state: State) -> float:
        state.skin[0, 0, 3] = np.nan
        return 0.0

    assert "not a number" in str(failed(spoil))


def test_limits_are_temperatures() -> None:
    state = State(JOB.problem)
    found = guard.Guard(JOB, state)
    for limit, kelvin in (
        (found.low, JOB.problem.start - guard.COLDER),
        (found.high, guard.HOTTEST),
    ):
        state.h[:] = limit[:, None]
        assert state.temperature(0) == pytest.approx(kelvin, rel=1e-9)
