"""A smooth response fitted to a few hundred runs, and what share of its variance each input has."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_solve, solve_triangular
from scipy.optimize import minimize
from scipy.stats import sobol_indices

__all__ = [
    "FAR",
    "MOST",
    "RUNS_AN_INPUT",
    "TRUSTED",
    "Shares",
    "Surrogate",
    "near",
    "shares_of",
    "varies",
]

Array = NDArray[np.float64]

TRUSTED = 0.9  # cross-validated share of the variance explained, from which shares are believed
RUNS_AN_INPUT = 5  # with fewer, inputs lend each other their shares
FAR = 150.0  # [K] beyond which a margin or a slack counts as hardly more
MOST = 512  # runs used: the work grows with their cube
SLICE = 8192  # points at once, to keep the kernel small
START = 2.0  # length scale to start the search from
NOISE = (1e-8, 1.0)  # of the variance
BASE = 12  # 2**12 base points for the shares: good to about 0.02


def near(values: Array) -> Array:
    """Values whose far ends hardly count: what melts by 600 K says little about what melts by 6."""
    return np.asarray(FAR * np.tanh(values / FAR))


def varies(response: Array) -> bool:
    """Whether a response is more than one number and its round-off."""
    return bool(response.std() > 1e-12 * max(abs(response.mean()), 1.0))


@dataclass(frozen=True)
class Surrogate:
    """Gaussian process of a linear trend and a smooth rest, a length scale an input.

    Covariance of two runs, over `size` squared: ``smooth exp(-sum((x_i - x'_i)^2 / 2 l_i^2)) +
    linear x.x' + noise`` (noise on the diagonal only). x is in standard deviations of the inputs.
    A response is ``mean + size k(x) . weights``, ``weights = K^-1 y``. With e the errors of leaving
    one run out, ``e_i = [K^-1 y]_i / [K^-1]_ii``, ``q2 = 1 - e.e / y.y``. It is good between the
    runs, not beyond them.

    Attributes
    ----------
    at : (n, d) runs, each input in its own standard deviations
    weights : (n,) of the runs
    lengths : (d,) how far each input has to move for the rest to change
    smooth, linear, noise : variances, of the response's own
    mean, size : of the response
    q2 : share of the variance explained, each run predicted from all others; 1 is perfect
    error : root mean square of those predictions' errors, in the response's unit
    factor : (n, n) lower Cholesky factor of the runs' covariance, over `size` squared

    References
    ----------
    Rasmussen, C. E. and Williams, C. K. I. (2006), Gaussian Processes for Machine Learning:
    fit 5.4.1, leaving one out 5.4.2.
    """

    at: Array
    weights: Array
    lengths: Array
    smooth: float
    linear: float
    noise: float
    mean: float
    size: float
    q2: float
    error: float
    factor: Array

    @classmethod
    def fit(cls, at: Array, response: Array) -> Surrogate:
        """Fit to runs.

        Parameters
        ----------
        at : (n, d) inputs in their own standard deviations
        response : (n,), not all equal; of more than 512 runs the first are taken

        Raises
        ------
        ValueError
            The response does not vary.
        """
        at, response = at[:MOST], response[:MOST]
        mean, size = float(response.mean()), float(response.std())
        if not varies(response):
            raise ValueError("a response that does not vary has no shares")
        y = (response - mean) / size
        x = _search(at, y)
        lengths, (smooth, linear, noise) = np.exp(x[:-3]), np.exp(x[-3:])
        smooth_part, _ = _smooth(at, lengths)
        K = smooth * smooth_part + linear * (at @ at.T) + noise * np.eye(len(y))
        lower = np.linalg.cholesky(K)
        inverse = cho_solve((lower, True), np.eye(len(y)))
        weights = inverse @ y
        left_out = weights / np.diag(inverse)
        q2 = 1.0 - float(left_out @ left_out) / float(y @ y)
        error = size * float(np.sqrt(np.mean(left_out**2)))
        scales = float(smooth), float(linear), float(noise)
        return cls(at, weights, lengths, *scales, mean, size, q2, error, lower)

    def __call__(self, at: Array) -> Array:
        """Response at (m, d) points, (m,): ``mean + size k(x) . weights``."""
        result = np.empty(len(at))
        for start in range(0, len(at), SLICE):
            result[start : start + SLICE] = self._kernel(at[start : start + SLICE]) @ self.weights
        return np.asarray(self.mean + self.size * result)

    def spread(self, at: Array) -> Array:
        """Standard deviation of the response at (m, d) points, noise of a run included, (m,).

        ``size sqrt(k(x, x) + noise - k(x) K^-1 k(x))`` (Rasmussen and Williams 2006, 2.24).
        """
        result = np.empty(len(at))
        for start in range(0, len(at), SLICE):
            some = at[start : start + SLICE]
            half = solve_triangular(self.factor, self._kernel(some).T, lower=True)
            own = self.smooth + self.linear * (some * some).sum(axis=1) + self.noise
            result[start : start + SLICE] = np.sqrt(np.maximum(own - (half * half).sum(axis=0), 0))
        return np.asarray(self.size * result)

    def draws(self, at: Array, count: int, rng: np.random.Generator) -> Array:
        """Responses that the runs leave possible, each at all of (m, d) points, (count, m).

        The noise of a run is included, as in `spread`.

        References
        ----------
        Rasmussen and Williams (2006): posterior 2.24, draws A.2.
        """
        cross = self._kernel(at)
        half = solve_triangular(self.factor, cross.T, lower=True)
        apart = _squares(at / self.lengths, at / self.lengths)
        own = self.smooth * np.exp(-0.5 * apart) + self.linear * (at @ at.T) - half.T @ half
        own[np.diag_indices(len(at))] += 1e-9 * (self.smooth + self.linear) + self.noise
        lower = np.linalg.cholesky(own)
        mean = cross @ self.weights
        normal = rng.standard_normal((count, len(at)))
        return np.asarray(self.mean + self.size * (mean + normal @ lower.T))

    def _kernel(self, at: Array) -> Array:
        apart = _squares(at / self.lengths, self.at / self.lengths)
        return np.asarray(self.smooth * np.exp(-0.5 * apart) + self.linear * (at @ self.at.T))


def _squares(a: Array, b: Array) -> Array:
    """Squared distances of (n, d) from (m, d) points, (n, m)."""
    lengths = (a * a).sum(axis=1)[:, None] + (b * b).sum(axis=1)[None, :]
    return np.asarray(np.maximum(lengths - 2.0 * (a @ b.T), 0.0))


def _smooth(at: Array, lengths: Array) -> tuple[Array, Array]:
    scaled = at / lengths
    return np.exp(-0.5 * _squares(scaled, scaled)), scaled


def _search(at: Array, y: Array) -> Array:
    """Most likely length scales and variances, as logarithms."""
    inputs = at.shape[1]
    start = np.log([*[START] * inputs, 1.0, 0.1, 1e-3])
    bounds = [(0.05, 1e3)] * inputs + [(1e-8, 1e3)] * 2 + [NOISE]
    found = minimize(
        partial(unlikely, at=at, y=y, linear_part=at @ at.T),
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=np.log(bounds),
        options={"maxiter": 200},
    )
    return np.asarray(found.x, dtype=float)


def unlikely(x: Array, at: Array, y: Array, linear_part: Array) -> tuple[float, Array]:
    """Negative log likelihood over n, and its slope.

    ``(y K^-1 y / 2 + ln(det K) / 2) / n``, without the constant ``ln(2 pi) / 2`` (Rasmussen and
    Williams 2006, section 5.4.1).

    Parameters
    ----------
    x : (d + 3,) logarithms of length scales, smooth, linear and noise variance
    at, y : (n, d), (n,) the runs
    linear_part : (n, n) products of the runs
    """
    count = len(y)
    lengths, (smooth, linear, noise) = np.exp(x[:-3]), np.exp(x[-3:])
    smooth_part, scaled = _smooth(at, lengths)
    K = smooth * smooth_part + linear * linear_part
    K[np.diag_indices(count)] += noise
    try:
        lower = np.linalg.cholesky(K)
    except np.linalg.LinAlgError:
        return 1e6, np.zeros_like(x)
    half = solve_triangular(lower, np.eye(count), lower=True)
    inverse = half.T @ half
    weights = inverse @ y
    value = 0.5 * float(y @ weights) + float(np.log(np.diag(lower)).sum())
    push = inverse - np.outer(weights, weights)  # twice the slope by K
    of_smooth = push * (smooth * smooth_part)
    # sums of push * smooth * (x_i - x_j)^2 for each input, without arrays of n x n x d
    by_length = 2.0 * (
        (scaled**2).T @ of_smooth.sum(axis=1) - (scaled * (of_smooth @ scaled)).sum(axis=0)
    )
    by_linear = float((push * linear_part).sum()) * linear
    by_rest = [float(of_smooth.sum()), by_linear, noise * float(np.trace(push))]
    return value / count, 0.5 * np.concatenate([by_length, by_rest]) / count


@dataclass(frozen=True)
class Shares:
    """Shares of the variance of a response.

    Attributes
    ----------
    first : (d,) of each input alone
    total : (d,) of each input with all that it does together with others
    q2, error : of the surrogate they come from; see there
    """

    first: Array
    total: Array
    q2: float
    error: float
    runs: int = MOST

    @property
    def doubt(self) -> str:
        """Why they should not be believed, in words; "" where they can."""
        wanted = RUNS_AN_INPUT * len(self.first)
        if self.runs < wanted:
            return f"{self.runs} runs where {wanted} are wanted"
        if self.q2 < TRUSTED:
            return f"{100 * self.q2:.0f} % explained where {100 * TRUSTED:.0f} % are wanted"
        return ""

    @property
    def trusted(self) -> bool:
        """Whether the surrogate is good enough, and had runs enough, to believe them."""
        return not self.doubt


def shares_of(at: Array, response: Array, spreads: Sequence[Any], seed: int) -> Shares:
    """Sobol shares of a response, from a surrogate of it.

    ``first_i = Var(E(f | x_i)) / Var(f)`` and ``total_i = 1 - Var(E(f | all but x_i)) / Var(f)``,
    for inputs that are independent; good to about 0.02.

    Parameters
    ----------
    at : (n, d) inputs of the runs
    response : (n,) of the runs
    spreads : (d,) distribution of each input, with `ppf`
    seed : of the points they are computed at

    Raises
    ------
    ValueError
        As for `Surrogate.fit`.

    References
    ----------
    Sobol', I. M. (2001), Global sensitivity indices for nonlinear mathematical models, Math.
    Comput. Simul. 55, 271. Saltelli, A. et al. (2010), Comput. Phys. Commun. 181, 259.
    """
    model = Surrogate.fit(at, response)
    found = sobol_indices(
        func=lambda x: model(x.T),
        n=2**BASE,
        dists=list(spreads),
        rng=np.random.default_rng(seed),
    )
    first, total = (np.clip(shares, 0.0, 1.0) for shares in (found.first_order, found.total_order))
    return Shares(first, total, model.q2, model.error, len(response))
