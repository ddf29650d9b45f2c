"""Chance from a fitted response: against counts of the same functions over far more points."""

from __future__ import annotations

import numpy as np
import pytest

from lapheat.study.chance.bench import points
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


def test_a_response_that_cannot_be_fitted_is_counted() -> None:
    at = points(64, INPUTS, 3)
    noise = np.random.default_rng(1).standard_normal(64)
    alone, either = chances_below(at, [noise], 0)
    assert not alone.used
    assert alone.chance == pytest.approx((noise < 0).mean())
    assert either == alone or not either.used


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


def test_any_of_two_happens_at_least_as_often_as_one() -> None:
    at = points(64, INPUTS, 3)
    noise = 40.0 + 30.0 * np.random.default_rng(1).standard_normal(64)
    base, rough, either = chances_below(at, [bent(at), noise], 0)
    assert either.chance >= max(base.chance, rough.chance)
    assert either.high >= max(base.high, rough.high)


def test_too_few_runs_are_counted() -> None:
    at = points(16, INPUTS, 3)
    assert not chances_below(at, [bent(at)], 0)[0].used
