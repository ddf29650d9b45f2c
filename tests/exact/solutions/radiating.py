"""A thin tube that loses heat as it likes (radiation included): a converged spectral reference."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.fft import dct, idct, irfft, rfft

from .common import STEFAN_BOLTZMANN, Array, Run, Waves, decay, response, times_and_points

__all__ = ["grey_film", "thin_tube"]


def grey_film(h: float, emissivity: float, ambient: float) -> Callable[[Array], Array]:
    """Return the loss [W/m^2] of a surface at a rise [K] over `ambient` [K]: film and radiation."""

    def lost(rise: Array) -> Array:
        hot = (rise + ambient) ** 2
        return h * rise + emissivity * STEFAN_BOLTZMANN * (hot * hot - ambient**4)

    return lost


def thin_tube(
    phi: ArrayLike,
    z: ArrayLike,
    t: ArrayLike,
    runs: Sequence[Run],
    *,
    radius: float,
    wall: float,
    length: float,
    seam: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    lost: Callable[[Array], Array],
    modes: tuple[int, int] = (128, 96),
    step: float = 0.1,
) -> Array:
    """Rise (n, p) of a thin tube under a Gaussian, losing `lost`(rise) [W/m^2] from its wall.

    As `shell.moving_gaussian_images`, but the loss is any function of the rise and the answer is
    numerical: Fourier modes round the tube and cosines along it, `modes` grid points each way.
    The arc and conduction are exact; only the loss is marched, by a fourth-order Runge-Kutta
    rule with an exponential integrating factor (Lawson 1967). `step` [s] is the longest step
    while an arc burns; it may be twice and, later, five times that when it does not.
    Times t (n,) must rise.

    Source: no closed form; A.-K. Kassam and L. Trefethen 2005, SIAM J. Sci. Comput. 26, 1214,
    compare the method.
    """
    time, (angle, height) = times_and_points(t, phi, z)
    around, along = modes
    n = np.arange(around // 2 + 1, dtype=float)
    m = np.arange(along, dtype=float)[:, None]
    rate = k / (rho * c) * ((n / radius) ** 2 + (m * np.pi / length) ** 2)
    blur = decay(0.5 * ((n * spot / radius) ** 2 + (m * np.pi * spot / length) ** 2))
    heat = rho * c * wall
    # Scaled as rfft of a DCT-II would: a unit source is (1/area) cos(m pi seam/L) exp(-i n phi).
    unit = blur * 2.0 * np.cos(m * np.pi * seam / length) * around * along
    unit = unit / (2.0 * np.pi * radius * length * heat)

    answers = [
        response(rate, -n * run.speed / radius, run, run.power * unit * np.exp(-1j * n * run.start))
        for run in runs
    ]

    def linear(now: float) -> Waves:
        return np.asarray(sum(answer(now) for answer in answers))

    def cooling(state: Waves) -> Waves:
        rise = idct(irfft(state, n=around, axis=1), axis=0)
        return np.asarray(rfft(dct(-lost(rise) / heat, axis=0), axis=1))

    stops = np.unique(np.concatenate([[0.0], time, *([run.begin, run.end] for run in runs)]))
    weight = np.where(n == 0, 1.0, 2.0) / around
    turns = weight * np.exp(1j * n * angle[:, None])
    waves = np.where(m.T == 0, 0.5, 1.0) / along * np.cos(m.T * np.pi * height[:, None] / length)
    rise = np.zeros((time.size, angle.size))
    lossy = np.zeros(rate.shape, dtype=complex)  # what the loss has taken, arc and start aside
    source = linear(0.0)
    for begin, end in itertools.pairwise(stops):
        if begin >= time[-1]:
            break
        burning = any(run.begin <= begin < run.end for run in runs)
        calm = begin >= max(run.end for run in runs)
        longest = step * (1.0 if burning else 5.0 if calm else 2.0)
        count = int(np.ceil((end - begin) / longest))
        dt = (end - begin) / count
        half = decay(rate * dt / 2.0)
        for j in range(count):
            middle, after = linear(begin + (j + 0.5) * dt), linear(begin + (j + 1) * dt)
            with np.errstate(under="ignore"):  # short waves may fade to nothing, rightly
                k1 = cooling(lossy + source)
                k2 = cooling(half * (lossy + dt / 2.0 * k1) + middle)
                k3 = cooling(half * lossy + dt / 2.0 * k2 + middle)
                k4 = cooling(half * (half * lossy + dt * k3) + after)
                lossy = half * (half * (lossy + dt / 6.0 * k1) + dt / 3.0 * (k2 + k3))
                lossy += dt / 6.0 * k4
            source = after
        field = np.einsum("pn,mn,pm->p", turns, lossy + source, waves, optimize=True).real
        rise[time == end] = field
    return rise
