"""Shares of the variance: against a function with known ones, and whether poor ones are told."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import check_grad
from scipy.stats import sobol_indices, uniform

from lapheat.study.chance.bench import STANDARD, points
from lapheat.study.chance.surrogate import TRUSTED, Surrogate, shares_of, unlikely

Array = NDArray[np.float64]

UNIFORM = uniform(-np.sqrt(3.0), 2.0 * np.sqrt(3.0))  # of standard deviation 1


def ishigami(x: Array) -> Array:
    """Ishigami and Homma 1990, a = 7, b = 0.1; inputs (3, n) of standard deviation 1."""
    a, b, c = x * np.pi / np.sqrt(3.0)
    return np.asarray(np.sin(a) + 7.0 * np.sin(b) ** 2 + 0.1 * c**4 * np.sin(a))


def test_shares_of_a_function_with_known_ones() -> None:
    z = points(256, 3, seed=1)
    found = shares_of(UNIFORM.ppf(STANDARD.cdf(z)), _at(z), [UNIFORM] * 3, seed=0)
    # Saltelli et al. 2008, Global Sensitivity Analysis, 4.5; V1 = (1 + b pi^4 / 5)^2 / 2, ...
    np.testing.assert_allclose(found.first, [0.3139, 0.4424, 0.0], atol=0.03)
    np.testing.assert_allclose(found.total, [0.5576, 0.4424, 0.2437], atol=0.03)
    brute = sobol_indices(func=ishigami, n=4096, dists=[UNIFORM] * 3, rng=np.random.default_rng(3))
    np.testing.assert_allclose(found.first, brute.first_order, atol=0.1)
    np.testing.assert_allclose(found.total, brute.total_order, atol=0.1)
    assert found.trusted
    assert found.q2 > 0.98


def _at(z: Array) -> Array:
    return ishigami(np.asarray(UNIFORM.ppf(STANDARD.cdf(z))).T)


def test_too_few_runs_are_told() -> None:
    z = points(32, 3, seed=1)
    found = shares_of(np.asarray(UNIFORM.ppf(STANDARD.cdf(z))), _at(z), [UNIFORM] * 3, seed=0)
    assert found.q2 < TRUSTED
    assert not found.trusted


def test_a_sum_has_the_squares_of_its_weights_as_shares() -> None:
    weights = np.array([5.0, -3.0, 1.0, 0.0, 0.5, 0.0, 2.0, 0.0, 0.0])
    z = points(128, 9, seed=2)
    found = shares_of(z, 700.0 + z @ weights, [STANDARD] * 9, seed=0)
    expected = weights**2 / (weights @ weights)
    np.testing.assert_allclose(found.first, expected, atol=0.02)
    np.testing.assert_allclose(found.total, expected, atol=0.02)


def test_mere_noise_explains_nothing() -> None:
    z = points(96, 4, seed=3)
    noise = np.random.default_rng(0).normal(size=96)
    assert shares_of(z, noise, [STANDARD] * 4, seed=0).q2 < 0.3


def test_each_run_is_predicted_from_all_others() -> None:
    z = points(40, 2, seed=4)
    response = 10.0 + np.sin(2.0 * z[:, 0]) + z[:, 1]
    model = Surrogate.fit(z, response)
    y = (response - model.mean) / model.size
    errors = []
    for i in range(40):  # without the short cut: solve again without run i
        keep = np.arange(40) != i
        apart = ((z[:, None] - z[None, :]) / model.lengths) ** 2
        kernel = model.smooth * np.exp(-0.5 * apart.sum(axis=2)) + model.linear * z @ z.T
        inner = kernel[np.ix_(keep, keep)] + model.noise * np.eye(39)
        errors.append(y[i] - kernel[i, keep] @ np.linalg.solve(inner, y[keep]))
    assert model.q2 == pytest.approx(1.0 - np.sum(np.square(errors)) / (y @ y), abs=1e-6)
    assert model.error == pytest.approx(model.size * np.sqrt(np.mean(np.square(errors))), rel=1e-3)


def test_the_slope_of_the_likelihood_is_right() -> None:
    z = points(24, 3, seed=5)
    y = np.sin(z[:, 0]) + z[:, 1] * z[:, 2]
    more = {"at": z, "y": y, "linear_part": z @ z.T}
    x = np.log([0.8, 1.5, 3.0, 1.2, 0.3, 0.02])

    def value(x: Array) -> float:
        return unlikely(x, **more)[0]

    def slope(x: Array) -> Array:
        return unlikely(x, **more)[1]

    assert check_grad(value, slope, x) < 1e-5 * np.linalg.norm(slope(x)) + 1e-6


def test_what_does_not_vary_has_no_shares() -> None:
    with pytest.raises(ValueError, match="does not vary"):
        shares_of(points(16, 2, 0), np.full(16, 81.0), [STANDARD] * 2, seed=0)
