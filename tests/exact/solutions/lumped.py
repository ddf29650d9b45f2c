"""A sheet cooling from both faces as one temperature. Absolute temperatures [K]."""

from __future__ import annotations

import numpy as np
from scipy.integrate import quad

from .common import STEFAN_BOLTZMANN

__all__ = ["cooling_time", "radiation_cooling_time"]


def cooling_time(
    start: float,
    end: float,
    *,
    thickness: float,
    rho: float,
    c: float,
    h: float,
    emissivity: float,
    ambient: float,
    faces: int = 2,
) -> float:
    """Time [s] to cool from `start` to `end` [K] by convection and radiation from `faces` faces.

    t = integral from end to start of rho c d dT / (faces [h (T - Ta) + eps sigma (T^4 - Ta^4)]).

    Source: energy balance, as Incropera, section 5.3; evaluated by adaptive quadrature.
    """

    def slowness(temperature: float) -> float:
        radiated = emissivity * STEFAN_BOLTZMANN * (temperature**4 - ambient**4)
        return rho * c * thickness / (faces * (h * (temperature - ambient) + radiated))

    return float(quad(slowness, end, start, epsabs=1e-10, epsrel=1e-10)[0])


def radiation_cooling_time(
    start: float,
    end: float,
    *,
    thickness: float,
    rho: float,
    c: float,
    emissivity: float,
    ambient: float,
    faces: int = 2,
) -> float:
    """Time [s] to cool from `start` to `end` [K] by radiation alone, in closed form.

    t = C/(4 eps sigma A Ta^3) [F(end) - F(start)], F(T) = ln|(T + Ta)/(T - Ta)| + 2 atan(T/Ta).

    Source: Incropera, Fundamentals of Heat and Mass Transfer, section 5.3 (its equation 5.18).
    """

    def antiderivative(temperature: float) -> float:
        ratio = abs((temperature + ambient) / (temperature - ambient))
        return float(np.log(ratio) + 2.0 * np.arctan(temperature / ambient))

    scale = rho * c * thickness / (faces * 4.0 * emissivity * STEFAN_BOLTZMANN * ambient**3)
    return scale * (antiderivative(end) - antiderivative(start))
