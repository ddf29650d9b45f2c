"""Weights of the stages of a step."""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = ["StepWeights", "rkl2_weights"]

Array = NDArray[np.float64]


class StepWeights(NamedTuple):
    """Weights of the stages 1 to s of a step; entry 0 is unused: (s + 1,) each [-].

    `time_share` is the share of the step that is over as a stage begins.
    """

    mu: Array
    nu: Array
    mu_tilde: Array
    gamma_tilde: Array
    time_share: Array


@cache
def rkl2_weights(s: int) -> StepWeights:
    """Weights of a step of length dt in `s` (>= 2) stages.

    With L the rate of change, y_0 the state as the step begins and ``w_1 = 4 / (s^2 + s - 2)``,
    RKL2 of Meyer, Balsara and Aslam (2014, J. Comput. Phys. 257, 594-626) is, with the numbers
    of its equations from memory::

        b_0 = b_1 = b_2 = 1/3,  b_j = (j^2 + j - 2) / (2 j (j + 1))                 (16)

        y_1 = y_0 + mu~_1 dt L(y_0)
        y_j = mu_j y_(j-1) + nu_j y_(j-2) + (1 - mu_j - nu_j) y_0
              + mu~_j dt L(y_(j-1)) + gamma~_j dt L(y_0)                            (17)

        mu_j = (2 j - 1) / j  b_j / b_(j-1),  nu_j = -(j - 1) / j  b_j / b_(j-2)    (18)
        mu~_1 = b_1 w_1,  mu~_j = mu_j w_1,  gamma~_j = -(1 - b_(j-1)) mu~_j        (18)

    A stage y_j is at the share ``c_1 = mu~_1``, ``c_j = (j^2 + j - 2) / (s^2 + s - 2)`` of the
    step. A rise ``y - y_0`` needs no term with y_0. All weights are numbers without a unit. The
    step is stable for ``dt <= dt_explicit (s^2 + s - 2) / 4``; see `compiled.stages_for`.
    """
    mu, nu, mu_tilde, gamma_tilde, time_share = np.zeros((5, s + 1))
    w1 = 4.0 / (s * s + s - 2.0)
    b = [1.0 / 3.0] * 3 + [(j * j + j - 2.0) / (2.0 * j * (j + 1.0)) for j in range(3, s + 1)]
    mu[1], mu_tilde[1] = 1.0, b[1] * w1
    for j in range(2, s + 1):
        inverse = 1.0 / j
        mu[j] = (2.0 * j - 1.0) * inverse * b[j] / b[j - 1]
        nu[j] = -(j - 1.0) * inverse * b[j] / b[j - 2]
        mu_tilde[j] = mu[j] * w1
        gamma_tilde[j] = -(1.0 - b[j - 1]) * mu_tilde[j]
    time_share[2:] = [mu_tilde[1], *((j * j + j - 2.0) * 0.25 * w1 for j in range(2, s))]
    return StepWeights(mu, nu, mu_tilde, gamma_tilde, time_share)
