"""The program's march under a moving arc against Fourier waves and finite elements.

The model's answers are kept in ``moving_arc.json``; each run of the tests has a coarser one answer
again and holds it to them. ``python -m reference.arc_errors`` prints errors place by place.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from math import log

import numpy as np
import pytest
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from exact.errors import Record
from lapheat.joint.lines import DETAILS
from reference.arc_errors import Errors, Kept, answers, errors_of, kept
from reference.arc_ring import ArcRing, arc_ring
from reference.fourier_ring import Fineness, FourierRing, contour

SOURCE = "Fourier series round the ring, finite elements in the section (scikit-fem)"
# [% of the highest rise] at the worst place and time; in the root of the mean square
BOUNDS = {"coarse": 1.0, "standard": 0.5, "fine": 0.2}
IN_THE_MEAN = {"coarse": 0.2, "standard": 0.08, "fine": 0.03}
# just after the strike steps count more than the mesh
STRUCK = {"coarse": 3.0, "standard": 2.0, "fine": 1.5}
ROUGH = Fineness(first=0.2e-3, growth=4.0, largest=3e-3)


@pytest.fixture(scope="module")
def ring() -> ArcRing:
    return arc_ring()


@pytest.fixture(scope="module")
def truth(ring: ArcRing) -> Kept:
    return kept(ring)


@pytest.fixture(scope="module")
def errors(ring: ArcRing, truth: Kept) -> Callable[[str], Errors]:
    """Errors of the march at a detail, found once."""
    return cache(lambda detail: errors_of(ring, truth, detail))


@pytest.mark.parametrize("detail", DETAILS)
def test_every_place_is_right_at_every_time(
    detail: str, errors: Callable[[str], Errors], record: Record
) -> None:
    """Under the arc as it stands and travels, as it goes out, and in the pause."""
    worst = 100.0 * errors(detail).worst
    record(f"moving arc, {detail}: worst", SOURCE, worst, BOUNDS[detail], "% of highest rise")
    mean = 100.0 * errors(detail).rms
    record(f"moving arc, {detail}: rms", SOURCE, mean, IN_THE_MEAN[detail], "% of highest rise")


@pytest.mark.parametrize("detail", DETAILS)
def test_every_place_is_right_just_after_the_strike(
    detail: str, errors: Callable[[str], Errors], record: Record
) -> None:
    """About half a second after the arc has struck on cold metal, where steps count most."""
    worst = 100.0 * float(np.abs(errors(detail).strike).max())
    record(f"moving arc just struck, {detail}", SOURCE, worst, STRUCK[detail], "% of highest rise")


def test_errors_fall_with_the_square_of_the_spacing(
    errors: Callable[[str], Errors], record: Record
) -> None:
    """From coarse to fine, in the root of the mean square of all places, angles and times."""
    finer = DETAILS["fine"].per_spot / DETAILS["coarse"].per_spot
    order = log(errors("coarse").rms / errors("fine").rms) / log(finer)
    record("moving arc, coarse to fine", SOURCE, abs(order - 2.0), 0.4, "order")


@pytest.mark.slow
def test_model_has_settled(ring: ArcRing, truth: Kept) -> None:
    """A model of 4000 unknowns a wave for 15,000, and 40 waves for 56: within 0.02 %."""
    again = answers(ring, Fineness())
    for ours, fine in ((again.later, truth.later), (again.strike, truth.strike)):
        assert np.abs(ours - fine).max() < 2e-4 * truth.highest


def test_kept_answers_to_another_question_are_refused(ring: ArcRing) -> None:
    assert ring.case.fillet is not None
    for other in (
        replace(ring, resistance=1.01 * ring.resistance),
        replace(ring, case=replace(ring.case, fillet=replace(ring.case.fillet, leg=2.1e-3))),
        replace(ring, case=replace(ring.case, arc=replace(ring.case.arc, current=70.0))),
    ):
        with pytest.raises(AssertionError, match="question changed"):
            kept(other)


def test_contour_gives_the_exponential() -> None:
    x = np.concatenate([[0.0], np.logspace(-4.0, 8.0, 100)])
    z, c = contour(16)
    made = 2.0 * (c / (z + x[:, None])).real.sum(axis=1)
    np.testing.assert_allclose(made, np.exp(-x), atol=1e-9)


def test_all_heat_is_stored_where_next_to_none_is_lost(ring: ArcRing) -> None:
    """A film of 0.1 W/(m2 K) takes less than a thousandth of it in half a minute.

    More nodes than usual: the steady wave without losses is 100,000 K hot.
    """
    around = replace(ring.case.surroundings, convection=0.1, bore_convection=0.1)
    sharp = replace(ROUGH, nodes=18)
    model = FourierRing(replace(ring, case=replace(ring.case, surroundings=around)), sharp)
    whole = 2.0 * np.pi * (np.ones(model.content.shape[0]) @ model.content)[None, :]
    stored = model.wave(0, ring.times, whole).real[:, 0]
    burnt = [
        sum(np.clip(time - spell.begin, 0.0, spell.end - spell.begin) for spell in ring.spells)
        for time in ring.times
    ]
    given = ring.case.arc.power * np.array(burnt)
    np.testing.assert_allclose(stored, given, rtol=1e-3)
    assert (stored < given).all()


@pytest.mark.parametrize("n", [0, 3, 12])
def test_steps_in_time_come_to_the_same_wave(ring: ArcRing, n: int) -> None:
    """Implicit steps of second order (BDF2) through dwell and run, begun by short Euler steps."""
    model = FourierRing(ring, ROUGH)
    some = csc_matrix(np.eye(model.content.shape[0])[::97])
    dwell, run = ring.spells[:2]
    wave = model.wave(n, [dwell.end, run.end], some)
    M, A = model.content, model.across + float(n * n) * model.around
    count, short = 400, 16
    found, u = [], np.zeros(M.shape[0], complex)
    for spell in (dwell, run):
        dt = (spell.end - spell.begin) / count
        euler = splu(csc_matrix((short / dt * M + A).astype(complex))).solve
        bdf = splu(csc_matrix((1.5 / dt * M + A).astype(complex))).solve
        before = u
        for k in range(short):  # the arc strikes, or begins to move
            turn = np.exp(-1j * n * spell.angle(spell.begin + (k + 1) * dt / short))
            u = euler(short / dt * (M @ u) + model.loads[n] * turn)
        for i in range(1, count):
            turn = np.exp(-1j * n * spell.angle(spell.begin + (i + 1) * dt))
            load = M @ (2.0 * u - 0.5 * before) / dt + model.loads[n] * turn
            u, before = bdf(load), u
        found.append(some @ u)
    np.testing.assert_allclose(np.array(found), wave, atol=5e-4 * np.abs(wave).max())
