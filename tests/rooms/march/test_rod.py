"""The rod of one segment: what is laid when, and that it takes up its whole heat."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapheat.joint.schedule import Segment, schedule_of
from lapheat.march.rod import Rod
from lapheat.march.state import State
from lapheat.problem.setup import problem_of
from support.joints import case_of

HEAT, SECONDS, FLOW = 20.0, 4.0, 1300.0  # [J] a layer, [s] of travel, [K]
CASE = case_of()


def rod_of(backwards: bool = False, tacked: slice | None = None) -> tuple[Rod, State, Segment]:
    problem = problem_of(CASE)
    state, segment = State(problem), schedule_of(CASE, problem.mesh.layers).segments[1]
    if backwards:
        segment = replace(segment, lay_from=segment.lay_to, lay_to=segment.lay_from)
    if tacked is not None:
        state.alive[:, tacked] = 1.0
    return Rod(state, segment, HEAT, FLOW, SECONDS), state, segment


@pytest.mark.parametrize("backwards", [False, True])
def test_layers_are_laid_ahead_of_the_arc_in_its_direction(backwards: bool) -> None:
    rod, state, segment = rod_of(backwards)
    count = segment.last_layer - segment.first_layer
    first = segment.last_layer - 1 if backwards else segment.first_layer
    step = -1 if backwards else 1
    assert rod.order.tolist() == [first + step * n for n in range(count)]
    # middles at half layers: due are those within the lead
    for gone, lead, laid in ((0.0, 0.4, 0), (0.0, 0.5, 1), (0.0, 2.4, 2), (1.0 / count, 2.4, 3)):
        rod.feed(gone, lead, 0.01)
        assert rod.laid == laid
        alive = np.flatnonzero((state.alive > 0.0).all(axis=0))
        assert sorted(alive.tolist()) == sorted(rod.order[:laid].tolist())
    rod.feed(1.0, 9.0, 0.01)
    assert rod.laid == count


def test_all_heat_of_the_rod_goes_in_by_the_time_the_arc_has_passed() -> None:
    rod, state, segment = rod_of()
    count = segment.last_layer - segment.first_layer
    steps, given = 8 * count, 0.0
    dt = SECONDS / steps
    for n in range(steps + 1):
        given += rod.feed(n / steps, 3.0, dt)
        passed = int(n / steps * count)  # layers whose middle the arc has left behind
        assert rod.left[: max(passed - 1, 0)] == pytest.approx(0.0, abs=1e-9)
    assert given == pytest.approx(HEAT * count, rel=1e-12)
    # the base is at air: what filler brings is small against its melting heat
    assert rod.power(0.0) == pytest.approx(HEAT * count / SECONDS)
    assert rod.power(1.0) == rod.power(0.0)
    assert state.rod.shape[0] == len(rod.share)


def test_heat_is_spread_evenly_over_the_way_to_go_and_by_mass() -> None:
    rod, state, segment = rod_of()
    count = segment.last_layer - segment.first_layer
    dt = SECONDS / count / 2.0  # two steps a layer
    first = rod.feed(0.0, 2.0, dt)
    left = HEAT - first  # what the layer's own warmth brought and one step's share are gone
    assert rod.laid == 2
    mass = state.problem.grid.mass[state.problem.fillet_cells]
    np.testing.assert_allclose(rod.share, mass / mass.sum())
    power = state.rod[:, segment.first_layer : segment.last_layer]
    # middles half a layer and one and a half away: one step, three steps
    np.testing.assert_allclose(power.sum(axis=0)[2:], 0.0)
    np.testing.assert_allclose(power[:, 0] / power[:, 0].sum(), rod.share)
    assert rod.left[0] == pytest.approx(0.0, abs=1e-12)
    assert rod.left[1] == pytest.approx(2.0 / 3.0 * power[:, 0].sum() * dt)
    assert left < HEAT


def test_where_a_tack_lies_nothing_is_laid_and_no_heat_is_taken() -> None:
    _, _, segment = rod_of()
    first, count = segment.first_layer, segment.last_layer - segment.first_layer
    rod, _, _ = rod_of(tacked=slice(first, first + 2))
    assert rod.missing.tolist() == [False] * 2 + [True] * (count - 2)
    assert rod.power(0.0) == rod.power(1.5 / count) == 0.0
    assert rod.power(2.5 / count) == pytest.approx(HEAT * count / SECONDS)
    given = sum(rod.feed(n / (4 * count), 2.0, 0.1) for n in range(4 * count + 1))
    assert given == pytest.approx(HEAT * (count - 2), rel=1e-12)
    at_end, _, _ = rod_of(tacked=slice(segment.last_layer - 1, segment.last_layer))
    assert at_end.power(1.0) == at_end.power(1.0 - 0.5 / count) == 0.0
    assert at_end.power(1.0 - 1.5 / count) > 0.0


@pytest.mark.parametrize("backwards", [False, True])
def test_the_heat_goes_where_the_filler_lies(backwards: bool) -> None:
    """Half of the way on, what was laid before is molten, and what lies ahead takes up heat."""
    rod, state, segment = rod_of(backwards)
    count = segment.last_layer - segment.first_layer
    for n in range(count + 1):
        rod.feed(0.5 * n / count, 2.0, SECONDS / count / 2.0)
    heated = np.flatnonzero(state.rod.sum(axis=0) > 0.0)
    here = rod.order[count // 2]
    ahead = [here - n if backwards else here + n for n in range(2)]
    assert sorted(heated.tolist()) == sorted(ahead)


def test_what_the_base_is_warm_by_need_not_be_melted() -> None:
    """A base at the filler's liquidus brings more of what a layer takes up, and less is left."""
    rod, state, _ = rod_of()
    cold, _, _ = rod_of()
    state.h[:] = np.array(
        [state.problem.alloys[a].enthalpy(np.asarray(FLOW)) for a in state.problem.grid.alloy]
    )[:, None]
    state.refresh()
    state.observe()
    dt = SECONDS / 100.0
    warm, little = rod.feed(0.0, 1.0, dt), cold.feed(0.0, 1.0, dt)
    assert rod.laid == cold.laid == 1
    assert warm > little
    assert warm + rod.left.sum() == pytest.approx(HEAT)
    assert little + cold.left.sum() == pytest.approx(HEAT)


def test_a_bead_has_no_rod() -> None:
    case = case_of()
    rod, _, _ = rod_of()
    rod.share = rod.share[:0]
    assert rod.feed(0.5, 2.0, 0.1) == 0.0
    assert rod.laid == 0
    assert case.fillet is not None
