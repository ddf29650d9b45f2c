"""Points of a bench, and the interval of a chance."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binomtest, norm

from lapheat.case.case import Spread
from lapheat.case.file import read_case_text
from lapheat.case.units import LENGTH, NUMBER
from lapheat.study.chance.bench import Input, inputs_of, points, wilson
from support.case_texts import BASE, BEAD


# The published interval, as scipy computes it: Wilson 1927, J. Am. Stat. Assoc. 22, 209.
@pytest.mark.parametrize(("hits", "count"), [(0, 10), (1, 64), (13, 256), (128, 256), (64, 64)])
def test_interval_is_that_of_wilson(hits: int, count: int) -> None:
    known = binomtest(hits, count).proportion_ci(method="wilson")
    assert wilson(hits, count) == pytest.approx((known.low, known.high), abs=1e-12)


def test_nothing_is_known_of_no_trials() -> None:
    assert wilson(0, 0) == (0.0, 1.0)


def test_interval_holds_the_true_chance_in_95_of_100_trials() -> None:
    rng = np.random.default_rng(5)
    hits = rng.binomial(256, 0.12, size=2000)
    held = [low <= 0.12 <= high for low, high in (wilson(int(h), 256) for h in hits)]
    assert 0.93 <= np.mean(held) <= 0.97


def test_points_have_the_spread_asked_for() -> None:
    z = points(4096, 3, seed=1)
    assert np.abs(z.mean(axis=0)).max() < 1e-3
    # a normal cut off at 2.94 standard deviations has a little less of them
    assert z.std(axis=0) == pytest.approx(0.985, abs=0.003)
    within = (np.abs(z) < norm.ppf(0.975)).mean(axis=0)
    assert within == pytest.approx(0.953, abs=0.003)
    assert np.abs(z).max() < 2.95
    assert np.abs(np.corrcoef(z.T) - np.eye(3)).max() < 0.01


def test_points_follow_the_seed_and_only_grow_with_the_count() -> None:
    np.testing.assert_array_equal(points(100, 4, 7), points(256, 4, 7)[:100])
    assert not np.array_equal(points(64, 4, 7), points(64, 4, 8))


@pytest.mark.parametrize(
    ("spread", "low", "high"),
    [
        (Spread(0.1, "share"), 1.8e-3, 2.2e-3),
        (Spread(0.5e-3, "amount"), 1.5e-3, 2.5e-3),
        (Spread(2.0, "factor"), 1e-3, 4e-3),
    ],
)
def test_95_percent_lie_within_the_spread(spread: Spread, low: float, high: float) -> None:
    wall = Input("wall", "tube.wall", LENGTH, 2e-3, spread)
    edge = float(norm.ppf(0.975))
    assert wall.at(0.0) == pytest.approx(2e-3)
    assert (wall.at(-edge), wall.at(edge)) == pytest.approx((low, high))
    assert wall.text(edge) == f"{high * 1e3:g} mm"


def test_a_joint_has_nine_inputs_and_a_bead_seven() -> None:
    assert len(inputs_of(read_case_text(BASE, "x"))) == 9
    assert [i.name for i in inputs_of(read_case_text(BEAD, "x"))] == [
        *("current", "efficiency", "spot", "speed", "wall", "conductivity", "emissivity")
    ]


def test_an_input_without_spread_is_left_out() -> None:
    text = BASE + "\n[scatter]\ncurrent = 0\nclearance = 1\nwall = '0.2 mm'\n"
    case = read_case_text(text, "x", ("scale.emissivity=1.2",))
    inputs = {i.name: i for i in inputs_of(case)}
    assert {"current", "clearance"}.isdisjoint(inputs)
    assert inputs["wall"].told == "1.65 mm, 95 % within 0.2 mm"
    assert inputs["emissivity"].told == "1.2, 95 % within a factor of 2"
    assert inputs["speed"].told == "2.5 mm/s, 95 % within 15 %"
    assert inputs["emissivity"].kind is NUMBER


@pytest.mark.parametrize("name", ["current", "spot", "aim", "clearance", "emissivity"])
def test_a_drawn_value_is_one_a_case_file_reads(name: str) -> None:
    case = read_case_text(BASE, "x")
    which = next(i for i in inputs_of(case) if i.name == name)
    for z in (-2.9, 0.37, 2.9):
        again = read_case_text(BASE, "x", (f"{which.key}={which.text(z)}",))
        assert {i.name: i.value for i in inputs_of(again)}[name] == which.at(z)
