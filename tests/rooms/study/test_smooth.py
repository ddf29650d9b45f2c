"""Chance from a fitted response: against counts of the same functions over far more points."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from lapheat.study.chance.bench import STANDARD, points, wilson
from lapheat.study.chance.smooth import chances_below

INPUTS = 9


def bent(z: np.ndarray) -> np.ndarray:
    """A margin that nearly follows its inputs, with interactions and a square."""
    return np.asarray(
        60 + 40 * z[:, 0] - 25 * z[:, 1] + 15 * np.sin(1.3 * z[:, 2]) * z[:, 0] - 8 * z[:, 3] ** 2
    )


def stepped(z: np.ndarray) -> np.ndarray:
    """A slack with a steep middle and flat ends."""
    return np.asarray(90 * np.tanh(0.7 * z[:, 0]) - 60 * z[:, 1] + 45 + 5 * z[:, 4])


def test_a_response_that_cannot_be_fitted_is_counted() -> None:
    at = points(64, INPUTS, 3)
    noise = np.random.default_rng(1).standard_normal(64)
    alone, either = chances_below(at, [noise], 0)
    assert not alone.used
    assert alone.chance == pytest.approx((noise < 0).mean())
    assert either == alone or not either.used


def test_any_of_two_happens_at_least_as_often_as_one() -> None:
    at = points(64, INPUTS, 3)
    noise = 40.0 + 30.0 * np.random.default_rng(1).standard_normal(64)
    base, rough, either = chances_below(at, [bent(at), noise], 0)
    assert either.chance >= max(base.chance, rough.chance)
    assert either.high >= max(base.high, rough.high)


def test_too_few_runs_are_counted() -> None:
    at = points(16, INPUTS, 3)
    assert not chances_below(at, [bent(at)], 0)[0].used


def line(at: np.ndarray) -> np.ndarray:
    """A margin of 10 K that one standard deviation of the first input takes away."""
    return np.asarray(10.0 + 10.0 * at[:, 0])


def test_the_chance_of_a_straight_response_is_that_of_its_input() -> None:
    """Nothing is left to guess: the interval is that of 1024 even points, as four times as many."""
    at = points(64, 1, 3)
    alone, either = chances_below(at, [line(at)], 0)
    chance = float(STANDARD.cdf(-1.0))
    assert alone.used
    assert alone.q2 > 0.999
    assert alone.chance == pytest.approx(chance, abs=0.002)
    half = norm.ppf(0.975) * np.sqrt(chance * (1.0 - chance) / 4096)
    assert alone.high - alone.chance == pytest.approx(half, rel=0.05)
    assert alone.chance - alone.low == pytest.approx(half, rel=0.05)
    assert either == alone


def test_what_never_happened_may_happen_in_three_of_the_runs() -> None:
    """The rule of three: what has a chance of 3 / n is missed by n runs once in twenty times."""
    at = points(64, 1, 3)
    never, _ = chances_below(at, [120.0 + line(at)], 0)
    assert (never.chance, never.low, never.high) == (0.0, 0.0, 3.0 / 64)
    always, _ = chances_below(at, [line(at) - 120.0], 0)
    assert (always.chance, always.low, always.high) == (1.0, 1.0 - 0.5 / 64, 1.0)


def test_noise_widens_the_interval() -> None:
    """Two inputs, and noise of a tenth of the rise: wider than points alone leave it."""
    at = points(64, 2, 3)
    rough = line(at) + np.random.default_rng(2).standard_normal(64)
    noisy, _ = chances_below(at, [rough], 0)
    assert noisy.used
    own = 1.96 * np.sqrt(noisy.chance * (1.0 - noisy.chance) / 4096)
    assert own < noisy.high - noisy.chance < 4.0 * own
    assert noisy.low < float(STANDARD.cdf(-1.0)) < noisy.high


def test_a_response_needs_five_runs_an_input_and_something_that_varies() -> None:
    for count, used in ((5, True), (4, False)):
        at = points(8, 1, 3)[:count]
        assert chances_below(at, [line(at)], 0)[0].used is used
    at = points(64, 1, 3)
    flat, little, never, _ = chances_below(
        at, [np.full(64, -3.0), 0.05 + 0.1 * at[:, 0], np.full(64, np.inf)], 0
    )
    assert (flat.used, flat.chance, flat.q2) == (False, 1.0, 0.0)
    assert little.used  # a fifth of a kelvin is something
    assert (never.used, never.chance) == (False, 0.0)
    one, _ = chances_below(np.array([[0.0]]), [np.array([-1.0])], 0)
    assert (one.chance, one.low, one.high) == (1.0, *wilson(1, 1))


def test_a_measure_at_its_limit_has_not_failed() -> None:
    at = points(4, 1, 3)
    here, there, either = chances_below(
        at, [np.array([0.0, 0.5, -1.0, 2.0]), np.array([0.0, 0.5, 1.0, -0.5])], 0
    )
    assert (here.chance, there.chance, either.chance) == (0.25, 0.25, 0.5)
    assert (either.low, either.high) == wilson(2, 4)
    assert here.q2 == either.q2 == 0.0


def test_any_of_two_responses_is_found_from_both() -> None:
    """One fails below -1, the other above 1 standard deviation: together twice as often."""
    at = points(64, 1, 3)
    below, above, either = chances_below(at, [line(at), 10.0 - 10.0 * at[:, 0]], 0)
    assert below.used
    assert above.used
    assert either.used
    assert either.chance == pytest.approx(below.chance + above.chance, abs=1e-3)
    assert either.q2 == min(below.q2, above.q2)
    counted = chances_below(at, [line(at), np.full(64, 5.0)], 0)[-1]
    assert not counted.used


def test_a_step_that_few_runs_meet_is_inside_the_interval() -> None:
    """A failure of 1.4 % of benches that nothing smooth announces."""

    def broken(z: np.ndarray) -> np.ndarray:
        return np.where(z[:, 0] > 2.2, -40.0, 120.0 + 10.0 * z[:, 1])

    true = float((broken(points(2**14, INPUTS, 99)) < 0).mean())
    assert 0.008 < true < 0.02
    for seed in range(8):
        at = points(64, INPUTS, seed + 5)
        alone, either = chances_below(at, [broken(at)], seed)
        assert alone.low <= true <= alone.high
        assert either.chance >= alone.chance


def test_64_runs_tell_what_a_thousand_counted_ones_do() -> None:
    """The true chance is inside the interval, and the interval is narrower than by counting."""
    every = points(2**14, INPUTS, 99)
    true = [float((f(every) < 0).mean()) for f in (bent, stepped)]
    true.append(float(((bent(every) < 0) | (stepped(every) < 0)).mean()))
    inside, widths = 0, []
    seeds = range(10)
    for seed in seeds:
        at = points(64, INPUTS, seed + 5)
        found = chances_below(at, [bent(at), stepped(at)], seed)
        assert all(chance.used for chance in found)
        inside += sum(c.low <= t <= c.high for c, t in zip(found, true, strict=True))
        widths.append([c.high - c.low for c in found])
    counted = [2 * 1.96 * np.sqrt(t * (1 - t) / 1000) for t in true]
    assert inside >= 0.9 * 3 * len(seeds)
    assert (np.mean(widths, axis=0) < np.array(counted)).all()
