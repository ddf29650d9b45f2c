"""Turned, mirrored and renumbered, a run is the same run."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from invariance.small import SMALL, run, text_of
from lapheat.api import Result

Array = NDArray[np.float64]
Fields = dict[str, Array]

ROUND_OFF = 1e-6  # [K]


def probes(*angles: float) -> list[dict[str, Any]]:
    """One probe on the tube and one on the flange at each angle [deg]."""
    tube = [
        {"name": f"tube-{i}", "on": "tube", "angle": f"{angle} deg", "height": "6 mm"}
        for i, angle in enumerate(angles)
    ]
    flange = [
        {"name": f"flange-{i}", "on": "flange", "angle": f"{angle} deg", "radius": "4 mm"}
        for i, angle in enumerate(angles)
    ]
    return tube + flange


def laid(angles: tuple[float, float], **changes: Any) -> Result:
    """The small joint with an overlap and a taper, probes at these angles [deg]."""
    changes = {"travel__overlap": "2 mm", "travel__taper": "0.5 s"} | changes
    return run(text_of(SMALL, *probes(*angles), **changes))


def fields(result: Result, move: Callable[[Array], Array]) -> Fields:
    """Peaks all round the ring [K], moved to where the other run has them; melt and wetting."""
    history = result.history
    found = {name: surface.peak for name, surface in history.surfaces.items()}
    found |= {"cells": history.cell_peak, "melted": history.melted_wall[None]}
    for name, side in history.sides.items():
        found |= {f"{name} side": side.peak, f"{name} side, time liquid": side.liquid}
    return {name: move(field) for name, field in found.items()}


def same(one: Result, two: Result, move: Callable[[Array], Array]) -> None:
    """Hold two runs together that differ only by `move` of the second."""
    expected, found = fields(one, lambda field: field), fields(two, move)
    for name, field in expected.items():
        np.testing.assert_allclose(found[name], field, atol=ROUND_OFF, rtol=0.0, err_msg=name)
    a, b = one.history, two.history
    np.testing.assert_allclose(b.trace.time, a.trace.time, rtol=1e-12)
    for label in ("tube", "flange", "probes", "current"):
        x, y = getattr(a.trace, label), getattr(b.trace, label)
        np.testing.assert_allclose(y, x, atol=ROUND_OFF, rtol=0.0, err_msg=label)
    assert b.lap_filled == a.lap_filled
    for x, y in zip(a.segments, b.segments, strict=True):
        assert (y.start, y.end) == pytest.approx((x.start, x.end), rel=1e-12)
        assert y.start_temperature == pytest.approx(x.start_temperature, abs=ROUND_OFF)
        assert (y.tube_side_wet, y.flange_side_wet) == pytest.approx(
            (x.tube_side_wet, x.flange_side_wet), rel=1e-12
        )
    for heat in ("arc", "filler", "lost", "stored"):
        assert getattr(b.ledger, heat) == pytest.approx(getattr(a.ledger, heat), rel=1e-10)


@pytest.fixture(scope="module")
def two() -> Result:
    """Segments 1 and 2, of four, in turn."""
    return laid((70.0, 200.0), travel__order=[1, 2], travel__coverage=0.5)


def test_run_is_worth_comparing(two: Result) -> None:
    # else a march that does nothing would pass
    assert 0.0 < two.history.lap_filled < 1.0
    assert two.history.melted_wall.max() > 0.0
    assert np.ptp(two.history.surfaces["flange face"].peak.max(axis=0)) > 100.0


@pytest.mark.parametrize("turn", [1, 2])
def test_start_elsewhere_turns_the_fields(two: Result, turn: int) -> None:
    order = [1 + turn, 2 + turn]
    angles = (70.0 + 90.0 * turn, 200.0 + 90.0 * turn)
    turned = laid((angles[0], angles[1] % 360.0), travel__order=order, travel__coverage=0.5)
    layers = two.history.problem.mesh.layers
    same(two, turned, lambda field: np.roll(field, -turn * layers // 4, axis=1))


def test_whole_ring_from_another_segment() -> None:
    one = laid((70.0, 200.0), travel__order=[1, 3, 2, 4])
    other = laid((160.0, 290.0), travel__order=[2, 4, 3, 1])
    layers = one.history.problem.mesh.layers
    same(one, other, lambda field: np.roll(field, -layers // 4, axis=1))


def test_mirrored_travel_mirrors_the_fields() -> None:
    # backstep lays 1 and 2 each against the direction of progress; seen in a mirror that stands
    # between them, that is 2 and then 1 with it
    back = laid((70.0, 200.0), travel__order="backstep", travel__coverage=0.5)
    forth = laid((110.0, 340.0), travel__order=[2, 1], travel__coverage=0.5)
    layers = back.history.problem.mesh.layers
    mirror = (layers // 2 - 1 - np.arange(layers)) % layers
    same(back, forth, lambda field: field[:, mirror])


@pytest.mark.parametrize(
    ("name", "numbers"),
    [("in-turn", [1, 2, 3, 4]), ("opposite", [1, 3, 2, 4]), ("quarters", [1, 3, 2, 4])],
)
def test_order_by_name_or_by_number(name: str, numbers: list[int]) -> None:
    one, two = (
        laid((70.0, 200.0), travel__order=order, travel__dwell="0 s") for order in (name, numbers)
    )
    np.testing.assert_array_equal(two.history.cell_peak, one.history.cell_peak)
    first, second = one.outcomes.as_dict(), two.outcomes.as_dict()
    for outcomes in (first, second):
        del outcomes["march"]["wall_s"]
    assert second == first
