"""Melting: at one temperature, over a range, and behind a travelling source. Any one T scale."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.integrate import solve_ivp
from scipy.optimize import brentq
from scipy.special import erf, erfc, erfcx

from .common import Array, decay

__all__ = ["Similarity", "melting_over_range", "neumann", "travelling_source"]


@dataclass(frozen=True)
class Similarity:
    """Melting in eta = x/sqrt(t): T = value + gain erf(eta/(2 sqrt(a))), region by region.

    Attributes
    ----------
    fronts : (m,) eta of the fronts, from the heated face inward [m/s^0.5]
    diffusivity, value, gain : (m + 1,) of the regions, from the heated face inward
    """

    fronts: Array
    diffusivity: Array
    value: Array
    gain: Array

    def front(self, t: ArrayLike) -> Array:
        """Depth of the fronts (m,) at one time [m]."""
        return np.asarray(self.fronts * np.sqrt(t))

    def temperature(self, x: ArrayLike, t: ArrayLike) -> Array:
        """Temperature at depth x [m] and time t > 0 [s], which broadcast."""
        eta = np.asarray(x, float) / np.sqrt(np.asarray(t, float))
        region = np.searchsorted(self.fronts, eta)
        s = np.minimum(eta / (2.0 * np.sqrt(self.diffusivity[region])), 20.0)
        return np.asarray(self.value[region] + self.gain[region] * erf(s))


def neumann(
    *,
    k_solid: float,
    c_solid: float,
    k_liquid: float,
    c_liquid: float,
    rho: float,
    latent: float,
    melting: float,
    start: float,
    face: float,
) -> Similarity:
    """Two-phase melting of a half-space at one temperature, its face held at `face` from t = 0.

    With eta_f the front, g = eta_f/(2 sqrt(a)): k_l (T_f - T_m) exp(-g_l^2)/(sqrt(pi a_l)
    erf(g_l)) - k_s (T_m - T_0) exp(-g_s^2)/(sqrt(pi a_s) erfc(g_s)) = rho L eta_f/2. The usual
    lambda is g_l.

    Source: F. Neumann; Carslaw and Jaeger 1959, section 11.2.
    """
    root_l, root_s = np.sqrt(k_liquid / (rho * c_liquid)), np.sqrt(k_solid / (rho * c_solid))

    def balance(eta: float) -> float:
        g_l, g_s = eta / (2.0 * root_l), eta / (2.0 * root_s)
        into = k_liquid * (face - melting) * np.exp(-(g_l**2)) / (root_l * erf(g_l))
        away = k_solid * (melting - start) * np.exp(-(g_s**2)) / (root_s * erfc(g_s))
        return float((into - away) / np.sqrt(np.pi) - rho * latent * eta / 2.0)

    eta = float(brentq(balance, 1e-6 * root_l, 6.0 * root_l, xtol=1e-18, rtol=1e-14))
    gain_l = (melting - face) / erf(eta / (2.0 * root_l))
    gain_s = (start - melting) / erfc(eta / (2.0 * root_s))
    return Similarity(
        np.array([eta]),
        np.array([root_l**2, root_s**2]),
        np.array([face, start - gain_s]),
        np.array([gain_l, gain_s]),
    )


def melting_over_range(
    *,
    k: tuple[float, float, float],
    c: tuple[float, float, float],
    rho: float,
    latent: float,
    solidus: float,
    liquidus: float,
    start: float,
    face: float,
) -> Similarity:
    """Melting of a half-space over a range: liquid, mushy and solid region, face held.

    `k` and `c` are those of liquid, mushy and solid; the latent heat is spread evenly over the
    range, so the mushy region has c + L/(T_liq - T_sol). Heat flux is continuous at both fronts.
    Found by shooting: each liquidus front gives the flux there, hence the solidus front and the
    temperature far away, which must be `start`.

    Source: Carslaw and Jaeger 1959, section 11.2 (extended to a range); Alexiades and Solomon
    1993, Mathematical Modeling of Melting and Freezing Processes.
    """
    heat = np.array(c) + np.array([0.0, latent / (liquidus - solidus), 0.0])
    root = np.sqrt(np.array(k) / (rho * heat))

    def passed_on(region: int, strength: float) -> float:
        """Strength, gain times exp(-g^2), in `region` for that of the region before it."""
        before = k[region - 1] / root[region - 1]
        return float(strength * before * root[region] / k[region])

    def shoot(eta_l: float) -> tuple[float, float, float, float, float]:
        """Gain of the liquid, strengths of mushy and solid, solidus front, far temperature."""
        g = eta_l / (2.0 * root)
        gain_l = (liquidus - face) / erf(g[0])
        mushy = passed_on(1, gain_l * np.exp(-(g[0] ** 2)))

        def over_solidus(eta: float) -> float:
            b = eta / (2.0 * root[1])
            span = erfcx(g[1]) - decay(b**2 - g[1] ** 2) * erfcx(b)
            return float(liquidus + mushy * span - solidus)

        far = float(2.0 * root[1] * np.sqrt(g[1] ** 2 + 40.0))
        if over_solidus(far) > 0.0:  # too little flux left to reach the solidus: front too deep
            return gain_l, mushy, 0.0, far, solidus
        eta_s = float(brentq(over_solidus, eta_l, far, xtol=1e-18, rtol=1e-14))
        fade = decay((eta_s**2 - eta_l**2) / (4.0 * root[1] ** 2))
        solid = passed_on(2, mushy * float(fade))
        return gain_l, mushy, solid, eta_s, solidus + solid * erfcx(eta_s / (2.0 * root[2]))

    def miss(eta_l: float) -> float:
        return float(shoot(eta_l)[4] - start)

    eta_l = float(brentq(miss, 1e-3 * root[0], 6.0 * root[0], xtol=1e-18, rtol=1e-14))
    gain_l, mushy, solid, eta_s, _ = shoot(eta_l)
    gain_m = mushy * np.exp((eta_l / (2.0 * root[1])) ** 2)
    gain_s = solid * np.exp((eta_s / (2.0 * root[2])) ** 2)
    value_m = liquidus - gain_m * erf(eta_l / (2.0 * root[1]))
    return Similarity(
        np.array([eta_l, eta_s]),
        root**2,
        np.array([face, value_m, start - gain_s]),
        np.array([gain_l, gain_m, gain_s]),
    )


def travelling_source(
    x: ArrayLike,
    *,
    flux: float,
    speed: float,
    spot: float,
    rho: float,
    conductivity: Callable[[Array], Array],
    enthalpy: Callable[[Array], Array],
    start: float,
    hottest: float = 3000.0,
) -> tuple[Array, float]:
    """Steady temperature round a Gaussian source that travels along an insulated bar.

    x (m,) ahead of the source [m]; `flux` is power over cross-section [W/m^2], `enthalpy` [J/kg]
    rises with T and holds the latent heat. Integrating the moving-frame equation once,
    k dT/dx = q (1/2) erfc(x/(s sqrt 2)) - rho v (H(T) - H(T_0)),
    which is marched from the plateau far behind, rho v (H - H_0) = q. Returns T (m,) and the
    plateau.

    Source: Rosenthal 1946, Trans. ASME 68, 849 (moving frame), with k and H free.
    """
    place = np.asarray(x, float)
    base = float(enthalpy(np.array(start)))

    def surplus(temperature: float) -> float:
        return rho * speed * (float(enthalpy(np.array(temperature))) - base) - flux

    plateau = float(brentq(surplus, start, hottest, xtol=1e-11))

    def slope(at: float, temperature: Array) -> Array:
        heated = flux * 0.5 * erfc(at / (spot * np.sqrt(2.0)))
        carried = rho * speed * (enthalpy(temperature) - base)
        return np.asarray((heated - carried) / conductivity(temperature))

    first = min(-9.0 * spot, float(place.min()) - spot)
    order = np.argsort(place)
    solution = solve_ivp(
        slope,
        (first, float(place.max()) + spot),
        [plateau],
        method="DOP853",
        t_eval=place[order],
        rtol=1e-10,
        atol=1e-8,
        max_step=spot / 10.0,
    )
    answer = np.empty_like(place)
    answer[order] = solution.y[0]
    return answer, plateau
