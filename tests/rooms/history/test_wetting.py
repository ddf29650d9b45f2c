"""How molten share, wet share and spots are read from peaks on faces."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from lapheat.history.wetting import level_of_share, reached, share_above, spots, wet_share


def test_share_of_a_wall_that_melts() -> None:
    depth = np.array([0.0, 0.5, 1.0])
    peak = np.array([[1700.0, 1600.0, 1700.0], [1600.0, 1500.0, 1700.0], [1500.0, 1400.0, 1700.0]])
    assert share_above(peak, depth, 1650.0) == pytest.approx([0.25, 0.0, 1.0])


def test_wet_share_runs_in_a_straight_line_from_face_to_toe() -> None:
    """1250 to 1400 K from a quarter of the side to its toe: 1300 K is reached on half of it."""
    area = np.array([1.0, 1.0])
    peak = np.array([[1250.0, np.nan, 1300.0], [1350.0, np.nan, 1300.0]])
    share = wet_share(peak, area, 1300.0)
    assert share[[0, 2]] == pytest.approx([0.5, 1.0])
    assert np.isnan(share[1])
    assert wet_share(peak, area, 1390.0)[0] == pytest.approx(0.05)
    assert level_of_share(peak, area, 0.75) == pytest.approx(1300.0)  # all of one layer, half


def test_towards_the_root_it_goes_with_the_root_of_the_distance() -> None:
    """1000 + 400 sqrt(s): the very root has 1000 K, and 5 % of the side at s = 0.05."""
    at = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    peak = (1000.0 + 400.0 * np.sqrt(at))[:, None]
    area = np.full(5, 0.2)
    assert reached(peak[:, 0], area, 1.0) == pytest.approx(1000.0)
    # straight between the quarter and the half of the way in sqrt(s): 0.4 K off at the most
    assert reached(peak[:, 0], area, 0.95) == pytest.approx(1000.0 + 400.0 * 0.05**0.5, abs=3.0)
    assert level_of_share(peak, area, 0.95) == pytest.approx(reached(peak[:, 0], area, 0.95))


def test_wet_share_does_not_hang_on_the_mesh() -> None:
    """A parabola from 1000 K at the root: the share settles with order 2."""
    off = []
    for count in (4, 8, 16):
        at = (np.arange(count) + 0.5) / count
        peak = 1000.0 + 400.0 * at[:, None] ** 2
        off.append(abs(wet_share(peak, np.ones(count), 1100.0)[0] - 0.5))
    assert off[0] < 0.02
    assert off[1] < 0.35 * off[0]
    assert off[2] < 0.35 * off[1]


def test_coldest_spot_is_a_mean_over_a_fifth_of_a_millimetre() -> None:
    """A field that goes with the root of the distance and straight round the ring is read exactly.

    The mean of sqrt(s) from 0 to L is 2/3 sqrt(L), its value at 4/9 L.
    """
    edges = np.array([0.0, 0.4e-3, 1e-3, 2e-3])
    at = 0.5 * (edges[1:] + edges[:-1])
    angle = (np.arange(24) + 0.5) * 2.0 * np.pi / 24
    peak = 1000.0 + 1e4 * np.sqrt(at)[:, None] + 50.0 * angle
    spot = spots(peak, edges, 4, 20e-3).coldest()
    assert (spot.from_root, spot.angle) == pytest.approx((0.2e-3 * 4.0 / 9.0, 1e-4 / 20e-3))
    mean = 2.0 / 3.0 * np.sqrt(0.2e-3)
    assert spot.peak == pytest.approx(1000.0 + 1e4 * mean + 50.0 * 0.005)


def test_a_ring_of_one_layer_a_segment_has_spots() -> None:
    over = spots(np.full((3, 4), 1300.0), np.array([0.0, 1e-3, 2e-3, 3e-3]), 4, 5e-3)
    assert over.values.shape == (5, 12)
    assert (np.diff(over.angle) > 0.0).all()
    assert over.dry(1290.0) == ()


def test_all_but_short_stretches() -> None:
    """A dip of 100 K a radian to either side of a point: 0.2 rad wide 10 K above its bottom."""
    angle = (np.arange(720) + 0.5) * np.pi / 360
    peak = np.full((2, 1), 1300.0) + 100.0 * np.abs(angle - np.pi)
    over = spots(peak, np.array([0.0, 1e-3, 2e-3]), 1, 20e-3)
    assert over.level_but_for(0.2) == pytest.approx(1310.0, abs=0.5)
    (span,) = over.dry(1310.0)
    assert span.end - span.begin == pytest.approx(0.2, abs=0.01)


def test_spans_of_a_ring() -> None:
    """Twelve layers in four segments: a stretch ends where the line between layers reaches flow."""
    peak = np.full((2, 12), 1400.0)
    edges = np.array([0.0, 1e-3, 2e-3])
    assert spots(peak, edges, 4, 10e-3).dry(1300.0) == ()
    peak[:, [11, 0, 1, 4]] = [1200.0, 1100.0, 1250.0, 1299.0]
    one, across = spots(peak, edges, 4, 10e-3).dry(1300.0)
    layer = pi / 6
    # beside the middle of a segment: 1 K of the 101 K to the neighbouring layers
    assert (one.begin, one.end) == pytest.approx(
        ((4.5 - 1 / 101) * layer, (4.5 + 1 / 101) * layer), rel=1e-12
    )
    assert (one.coldest, one.segments) == (pytest.approx(1299.0), (2,))
    assert (across.begin, across.end) == pytest.approx(
        ((10.5 + 0.5) * layer, (12.0 + 1.5 + 50 / 150) * layer), rel=1e-12
    )
    # 0.1 mm from the start the line of the first segment's own layers has gone on
    beyond = (0.5 - 1e-4 / 10e-3 / layer) * 150.0
    assert (across.coldest, across.segments) == (pytest.approx(1100.0 - beyond), (1, 4))


def test_a_wholly_dry_ring_is_one_stretch() -> None:
    (whole,) = spots(np.full((2, 12), 900.0), np.array([0.0, 1e-3, 2e-3]), 4, 10e-3).dry(1300.0)
    assert (whole.begin, whole.end, whole.segments) == (0.0, 2.0 * pi, (1, 2, 3, 4))
