"""How molten share, wet share and spots are read from peaks on faces."""

from __future__ import annotations

from math import inf, pi

import numpy as np
import pytest

from lapheat.history.wetting import (
    Spot,
    Spots,
    level_of_share,
    reached,
    share_above,
    spots,
    wet_share,
)


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


def test_a_share_counts_what_is_at_the_level_and_cuts_lines_where_they_cross_it() -> None:
    """From 0.5 K over, by 1.5 K over, to 0.5 and 1.5 K below: all, three quarters, nothing."""
    at = np.array([0.0, 1.0, 2.0, 4.0])
    values = np.array([1300.5, 1301.5, 1299.5, 1298.5])
    assert share_above(values, at, 1300.0) == pytest.approx(1.75 / 4.0)
    assert share_above(values[2:], at[2:], 1299.0) == pytest.approx(0.5)
    assert share_above(np.full(4, 1300.0), at, 1300.0) == 1.0
    assert share_above(np.full(4, 1300.0), at, 1300.0 + 1e-9) == 0.0


def test_a_side_of_one_face_is_as_hot_everywhere() -> None:
    peak = np.array([[1290.0, 1300.0, 1310.0, np.nan]])
    np.testing.assert_array_equal(wet_share(peak, np.ones(1), 1300.0), [0.0, 1.0, 1.0, np.nan])
    assert reached(peak[:, 0], np.ones(1), 0.3) == 1290.0
    over = spots(peak, np.array([0.0, 2e-3]), 4, 5e-3)
    np.testing.assert_array_equal(over.lowest[:9], np.repeat([1290.0, 1300.0, 1310.0], 3))


def test_a_level_is_the_highest_that_so_much_reached() -> None:
    """Half of the layers at 1300 K, half at 1400 K: half of the side reached 1400 K."""
    peak = np.tile([1300.0, 1400.0], (3, 4))
    assert level_of_share(peak, np.ones(3), 0.5) == pytest.approx(1400.0)
    assert level_of_share(peak, np.ones(3), 0.51) == pytest.approx(1300.0)
    assert level_of_share(peak, np.ones(3), 1.0) == pytest.approx(1300.0)


def test_the_coldest_spot_may_be_at_the_toe() -> None:
    """1400 K at the root, 50 K a millimetre less: the mean of the last 0.2 mm of 2 mm."""
    edges = np.array([0.0, 0.5e-3, 1.2e-3, 2e-3])
    at = 0.5 * (edges[1:] + edges[:-1])
    peak = np.tile((1400.0 - 50e3 * at)[:, None], 8)
    over = spots(peak, edges, 4, 20e-3)
    assert over.coldest().peak == pytest.approx(1400.0 - 50.0 * 1.9)
    assert over.coldest().from_root == pytest.approx(1.9e-3)
    level = spots(peak, edges, 4, 20e-3, level=True)
    assert (level.values.min(), level.values.max()) == (peak.min(), peak.max())
    with pytest.raises(ValueError, match="no filler was laid"):
        spots(np.full((3, 8), np.nan), edges, 4, 20e-3).coldest()


def test_a_line_goes_on_to_the_end_of_a_segment_where_it_grows_colder() -> None:
    """Two segments of three layers of 60 deg; spots of 0.2 mm on 20 mm lie 0.005 rad inside."""
    ring = np.array([1000.0, 1100.0, 1300.0, 1500.0, 1450.0, 1300.0])
    over = spots(np.tile(ring, (2, 1)), np.array([0.0, 1e-3, 2e-3]), 2, 20e-3)
    part = 0.5 - 0.005 / (pi / 3)  # of a layer, from its middle to the spot
    wanted = [1000 - 100 * part, *ring[:3], 1300, 1500, *ring[3:], 1300 - 150 * part]
    np.testing.assert_allclose(over.lowest, wanted, rtol=1e-12)
    halves = [0.005, pi / 6, pi / 2, 5 * pi / 6, pi - 0.005]
    np.testing.assert_allclose(over.angle, [*halves, *(pi + np.array(halves))], rtol=1e-12)
    level = spots(np.tile(ring, (2, 1)), np.array([0.0, 1e-3, 2e-3]), 2, 20e-3, level=True)
    np.testing.assert_array_equal(level.lowest, [1000, *ring[:3], 1300, 1500, *ring[3:], 1300])


def test_spots_stay_in_order_where_layers_are_thinner_than_a_spot() -> None:
    """720 layers on a radius of 5 mm are 0.044 mm long."""
    over = spots(np.full((2, 720), 1300.0), np.array([0.0, 1e-3, 2e-3]), 4, 5e-3)
    assert (np.diff(over.angle) > 0.0).all()
    assert over.angle[0] < 0.5 * 2.0 * pi / 720


def ring_of(values: list[float]) -> Spots:
    """Four segments with two spots each, 0.1 rad from their ends."""
    ends = np.arange(4)[:, None] * 0.5 * pi + np.array([0.1, 0.5 * pi - 0.1])
    return Spots(np.array([values, [2000.0] * 8]), np.array([1e-4, 2e-4]), ends.ravel(), 4)


def test_a_stretch_at_the_start_of_the_ring_begins_before_it() -> None:
    """0.2 rad before it 1350 K, 1.371 rad after it 1400 K, 100 K below the level itself."""
    over = ring_of([1200.0, *[1400.0] * 6, 1350.0])
    (span,) = over.dry(1300.0)
    assert span.begin == pytest.approx(2.0 * pi + 0.1 - 0.2 * 100.0 / 150.0)
    assert span.end == pytest.approx(2.0 * pi + 0.1 + (0.5 * pi - 0.2) * 0.5)
    assert (span.coldest, span.from_root, span.segments) == (1200.0, 1e-4, (1,))
    assert over.dry(1200.0) == ()  # at the level it is wet
    assert over.level_but_for(inf) == inf


def test_a_stretch_over_the_end_of_the_ring_ends_beyond_it() -> None:
    over = ring_of([1250.0, 1400.0, 1400.0, 1400.0, 1500.0, 1400.0, 1400.0, 1200.0])
    (span,) = over.dry(1300.0)
    assert span.begin == pytest.approx(2.0 * pi - 0.1 - (0.5 * pi - 0.2) * 0.5)
    assert span.end == pytest.approx(2.0 * pi + 0.1 + (0.5 * pi - 0.2) / 3.0)
    assert (span.coldest, span.segments) == (1200.0, (1, 4))
    inside = ring_of([*[1400.0] * 3, 1200.0, 1250.0, *[1400.0] * 3]).dry(1300.0)
    assert [(s.coldest, s.segments) for s in inside] == [(1200.0, (2, 3))]
    last = ring_of([*[1400.0] * 7, 1200.0]).dry(1300.0)[0]
    assert last.begin == pytest.approx(2.0 * pi - 0.1 - (0.5 * pi - 0.2) * 0.5)
    assert last.end == pytest.approx(2.0 * pi - 0.1 + 0.1)


def test_what_was_not_laid_ends_a_stretch_where_the_segment_ends() -> None:
    nan = np.nan
    over = ring_of([1200.0, 1210.0, *[nan] * 6])
    (span,) = over.dry(1300.0)
    assert (span.begin, span.end) == (0.0, pytest.approx(0.5 * pi))
    assert over.coldest() == Spot(1200.0, 1e-4, 0.1)
    # a stretch just as long as is allowed passes at any level
    assert over.level_but_for(span.end - span.begin) == inf
    assert over.level_but_for(0.5 * pi - 1e-6) == pytest.approx(1210.0)
    (middle,) = ring_of([nan, nan, 1200.0, 1400.0, *[nan] * 4]).dry(1300.0)
    assert middle.begin == pytest.approx(0.5 * pi)
    assert middle.end == pytest.approx(0.5 * pi + 0.1 + 0.5 * (0.5 * pi - 0.2))


def test_a_narrow_hot_place_does_not_make_the_rest_short() -> None:
    """1400 K at one of eight spots, 1300 K elsewhere: all but some 1.6 rad is one stretch."""
    over = ring_of([1400.0, *[1300.0] * 7])
    assert over.level_but_for(2.0 * pi - 0.05) == pytest.approx(1396.8, abs=0.1)
    assert over.level_but_for(2.0 * pi) == inf
    (whole,) = over.dry(1500.0)
    assert (whole.coldest, whole.from_root, whole.segments) == (1300.0, 1e-4, (1, 2, 3, 4))
