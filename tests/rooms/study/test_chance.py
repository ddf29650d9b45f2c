"""What varies on a bench and in what steps a key is set: values worked out by hand."""

from __future__ import annotations

from fractions import Fraction
from math import log, sqrt

import numpy as np
import pytest

from lapheat.case.case import Spread
from lapheat.case.file import read_case_text
from lapheat.case.units import ANGLE, CURRENT, LENGTH, TEMPERATURE
from lapheat.study.chance.bench import (
    CUT,
    HALF,
    Input,
    inputs_of,
    points,
    seed_of,
    strayed,
    wilson,
)
from lapheat.study.chance.knob import WIDE, Knob, features, settable
from lapheat.study.risk.risk import plan_of, samples_of
from lapheat.study.runs import Source
from lapheat.study.runs.settable import settings_between
from support.case_texts import BASE, put

AMPS = Knob("arc.current", CURRENT, 40.0, 160.0, True, "A", Fraction(1))
PLACE = Knob("arc.aim", LENGTH, -1e-3, 3e-3, False, "mm", Fraction(1, 2))
RING = Knob("travel.segment", LENGTH, 1e-2, 3e-2, False, "mm", Fraction(0), 0.12)


@pytest.mark.parametrize(
    ("hits", "count", "low", "high"),
    # z2 / (n + z2) at the ends; (n / 2 +- z sqrt(n / 4 + z2 / 4)) / (n + z2) at a half
    [
        (0, 10, 0.0, HALF**2 / (10 + HALF**2)),
        (10, 10, 10 / (10 + HALF**2), 1.0),
        (5, 10, 0.5 - HALF / 2 / sqrt(10 + HALF**2), 0.5 + HALF / 2 / sqrt(10 + HALF**2)),
        (0, 0, 0.0, 1.0),
    ],
)
def test_wilson(hits: int, count: int, low: float, high: float) -> None:
    assert wilson(hits, count) == pytest.approx((low, high), rel=1e-9)


def test_wilson_away_from_the_middle() -> None:
    """The ends solve ``(p - x)^2 n = z^2 x (1 - x)``, as Wilson defines them."""
    for end in wilson(3, 40):
        assert (3 / 40 - end) ** 2 * 40 == pytest.approx(HALF**2 * end * (1.0 - end))


def test_95_per_cent_lie_within_a_spread() -> None:
    for way, size, value in (("amount", 5.0, 75.0), ("share", 0.1, 77.0), ("factor", 1.2, 84.0)):
        assert strayed(70.0, Spread(size, way), HALF) == pytest.approx(value)
        assert strayed(70.0, Spread(size, way), 0.0) == 70.0
    of = Input("current", "arc.current", CURRENT, 70.0, Spread(0.1, "share"))
    assert of.at(-HALF) == pytest.approx(63.0)
    assert of.text(HALF) == "77 A"
    assert of.told == "70 A, 95 % within 10 %"
    hold = Input("hold", "arc.hold", TEMPERATURE, 1500.0, Spread(25.0, "amount"))
    assert hold.told.endswith("95 % within 25 K")
    assert Input("a", "b", LENGTH, 1e-3, Spread(1.5, "factor")).told.endswith("factor of 1.5")
    assert Input("a", "b", LENGTH, 1e-3, Spread(5e-4, "amount")).told == "1 mm, 95 % within 0.5 mm"


def test_points_are_spread_as_a_normal_that_is_cut_off() -> None:
    at = points(1000, 3, 5)
    assert at.shape == (1000, 3)
    assert np.abs(at).max() <= CUT == pytest.approx(1.5 * HALF)
    np.testing.assert_allclose(at.mean(axis=0), 0.0, atol=0.01)
    # variance of a normal cut at c: 1 - 2 c phi(c) / (2 Phi(c) - 1)
    cut = 1.0 - 2.0 * CUT * np.exp(-0.5 * CUT**2) / sqrt(2.0 * np.pi) / 0.99672
    np.testing.assert_allclose(at.var(axis=0), cut, atol=0.02)
    np.testing.assert_array_equal(points(64, 3, 5), at[:64])
    assert points(1, 3, 5).shape == (1, 3)
    assert not np.array_equal(points(64, 3, 6), at[:64])


def test_seeds_differ_by_purpose_and_number() -> None:
    seeds = [seed_of(1, "a"), seed_of(1, "b"), seed_of(2, "a"), seed_of(1, "a", 1)]
    assert len(set(seeds)) == 4
    assert seed_of(1, "a", 0) == seed_of(1, "a")
    assert all(0 <= seed < 2**48 for seed in seeds)
    assert max(seeds) > 2**40


def test_what_does_not_vary_is_left_out() -> None:
    names = [entry.name for entry in inputs_of(read_case_text(BASE, "stub.toml"))]
    assert {"current", "speed", "aim", "wall", "clearance"} <= set(names)
    assert len(set(names)) == len(names)
    text = BASE + '[scatter]\ncurrent = "0 A"\naim = "0.2 mm"\n'
    few = {entry.name: entry for entry in inputs_of(read_case_text(text, "stub.toml"))}
    assert "current" not in few
    assert few["aim"].spread.size == pytest.approx(2e-4)
    assert (few["aim"].key, few["wall"].value) == ("arc.aim", pytest.approx(1.65e-3))


def test_what_the_length_gives_is_varied_by_a_factor_on_it() -> None:
    text = put("arc", 'length = "2 mm"') + '\n[scatter]\nspot = "0.2 mm"\n'
    case = read_case_text(text, "stub.toml")
    found = {entry.name: entry for entry in inputs_of(case)}
    assert found["spot"].key == "scale.spot"
    assert found["spot"].value == 1.0
    assert found["spot"].spread.way == "share"
    assert found["spot"].spread.size == pytest.approx(2e-4 / case.arc.spot)
    assert found["efficiency"].key == "scale.efficiency"


def test_what_varies_is_what_the_case_holds() -> None:
    text = put("arc", 'length = "2 mm"\ncontrol = "pedal"\nhold = "1100 degC"')
    case = read_case_text(text + '\n[scatter]\nclearance = 1.0\nefficiency = "8 %"\n', "stub.toml")
    found = {entry.name: entry for entry in inputs_of(case)}
    assert "clearance" not in found  # a factor of 1
    assert found["arc_length"].value == pytest.approx(2e-3)
    assert found["hold"].value == pytest.approx(1373.15)
    assert (found["efficiency"].spread.size, found["efficiency"].value) == (0.08, 1.0)
    wide = {e.name: e for e in inputs_of(read_case_text(BASE, "stub.toml"))}["clearance"]
    assert (wide.value, wide.spread) == (pytest.approx(1e-4), Spread(2.0, "factor"))
    none = read_case_text(BASE + "[scatter]\nemissivity = 1.0\nspot = 0.0\n", "stub.toml")
    assert {"emissivity", "spot"}.isdisjoint(entry.name for entry in inputs_of(none))


def test_shares_are_of_factors_or_of_amounts() -> None:
    assert AMPS.value(0.5) == pytest.approx(80.0)  # the geometric mean
    assert PLACE.value(0.25) == pytest.approx(0.0, abs=1e-12)
    for knob in (AMPS, PLACE):
        values = np.array([knob.value(share) for share in (0.0, 0.3, 1.0, 1.2)])
        np.testing.assert_allclose(knob.shares(values), [0.0, 0.3, 1.0, 1.2])
        assert values[[0, 2]] == pytest.approx([knob.low, knob.high])
    # a scatter may make a current nonsense, never a logarithm of nothing
    assert AMPS.shares(np.array([-5.0])) == pytest.approx(log(0.05) / log(4.0))


def test_equal_segments_close_the_ring() -> None:
    np.testing.assert_allclose(RING.acting(np.array([0.025, 0.03, 0.031])), [0.024, 0.03, 0.03])
    np.testing.assert_array_equal(PLACE.acting(np.array([1.0])), [1.0])


def test_settings_are_whole_steps_inside_the_range() -> None:
    assert AMPS.settable(70.4) == (70.0, "70 A")
    assert PLACE.settable(0.8e-3) == (pytest.approx(1e-3), "1 mm")
    narrow = Knob("arc.current", CURRENT, 40.4, 42.6, False, "A", Fraction(1))
    assert narrow.settable(40.4)[0] == 41.0
    assert narrow.settable(42.6)[0] == 42.0
    assert RING.settable(0.0123456)[1] == "12.346 mm"
    for knob in (AMPS, PLACE):  # the ends themselves can be set
        for end in (knob.low, knob.high):
            assert knob.settable(end)[0] == pytest.approx(end, abs=1e-9)
    shares, texts = settable((AMPS, PLACE), np.array([0.5, 0.3]))
    assert texts == (("arc.current", "80 A"), ("arc.aim", "0 mm"))
    np.testing.assert_allclose(shares, [0.5, 0.25], atol=1e-12)
    with pytest.raises(ValueError, match="shorter"):
        settable((AMPS, PLACE), np.array([0.5]))


def test_a_knob_counts_with_what_the_bench_makes_of_it() -> None:
    varied = (
        Input("aim", "arc.aim", LENGTH, 0.0, Spread(1e-3, "amount")),
        Input("wall", "tube.wall", LENGTH, 1e-3, Spread(0.1, "share")),
    )
    bench = np.array([[HALF, 0.7], [0.0, -0.2]])
    table = features((PLACE, RING), varied, np.array([[0.25, 0.5], [1.0, 1.0]]), bench)
    assert WIDE == 4.0
    # aim 0 and 1 mm off: half of the range; a segment of 20 mm closes the ring as it is
    np.testing.assert_allclose(table, [[0.0, 0.0, 0.7], [2.0, 2.0, -0.2]], atol=1e-12)


@pytest.mark.parametrize("change", ["scatter.work_angle=10 deg", "scatter.speed=1.2 mm/s"])
def test_no_bench_of_a_case_is_refused_for_its_scatter(change: str) -> None:
    """A bench that has strayed is a case by itself: a wide scatter about it is no fault."""
    steep = Source(BASE, "stub.toml", ("arc.work_angle=70 deg", change))
    plan = plan_of(steep, "coarse", 64, 0)
    for sample in samples_of(plan, points(64, len(plan.inputs), 0)):
        sample.trial.case()


def test_settings_between_have_both_ends() -> None:
    found = settings_between(np.radians(20.0), np.radians(80.0), ANGLE, "deg", Fraction(5))
    assert [text for _, text in found] == [f"{angle} deg" for angle in range(20, 81, 5)]
