"""Two bodies exchanging heat through a contact conductance."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import erfc, erfcx

from .common import Array, decay

__all__ = ["Body", "half_spaces", "lap_steady", "two_layers"]


@dataclass(frozen=True)
class Body:
    """Constant properties and start: k [W/(m K)], rho [kg/m^3], c [J/(kg K)], start [any scale]."""

    k: float
    rho: float
    c: float
    start: float = 0.0

    @property
    def diffusivity(self) -> float:
        """Thermal diffusivity [m^2/s]."""
        return self.k / (self.rho * self.c)

    @property
    def effusivity(self) -> float:
        """Thermal effusivity, sqrt(k rho c) [W s^0.5/(m^2 K)]."""
        return float(np.sqrt(self.k * self.rho * self.c))


def half_spaces(
    depth: ArrayLike, t: ArrayLike, *, one: Body, two: Body, conductance: float
) -> tuple[Array, Array, Array]:
    """Temperatures of two thick bodies pressed together at t = 0, and the heat flux between them.

    `depth` [m] from the contact into either body and t > 0 [s] broadcast; returns T of body one,
    T of body two and the flux from one to two [W/m^2].
    T_1 = T_10 - D e2/(e1+e2) [erfc(s) - exp(-s^2) erfcx(s + H1 sqrt(a1 t))],
    s = x/(2 sqrt(a1 t)), H1 = h (e1 + e2)/(e2 k1), D = T_10 - T_20; body two alike.

    Source: Carslaw and Jaeger 1959, section 2.15 (infinite composite solid with contact
    resistance).
    """
    x, time = np.asarray(depth, float), np.asarray(t, float)
    total = one.effusivity + two.effusivity

    def share(body: Body, other: Body) -> Array:
        s = x / (2.0 * np.sqrt(body.diffusivity * time))
        rise = conductance * total / (other.effusivity * body.k)
        late = decay(s**2) * erfcx(s + rise * np.sqrt(body.diffusivity * time))
        return np.asarray(other.effusivity / total * (erfc(np.minimum(s, 20.0)) - late))

    drop = one.start - two.start
    root = conductance * total / (one.effusivity * two.effusivity) * np.sqrt(time)
    flux = conductance * drop * erfcx(root)
    return one.start - drop * share(one, two), two.start + drop * share(two, one), flux


def _layer_roots(one: Body, two: Body, a1: float, a2: float, h: float, count: int) -> Array:
    """Roots of h (e2 cot(y a1) + e1 cot(y a2)) = e1 e2 y: one between neighbouring poles.

    Where two poles fall together (equal layers) the pole itself is the root.
    """
    e1, e2 = one.effusivity, two.effusivity
    n = np.arange(1, count + 1)
    poles = np.sort(np.concatenate([[0.0], n * np.pi / a1, n * np.pi / a2]))[: count + 1]
    gap = 1e-9 * poles[1]

    def f(y: float) -> float:
        s1, c1, s2, c2 = np.sin(y * a1), np.cos(y * a1), np.sin(y * a2), np.cos(y * a2)
        return float(h * (e2 * c1 * s2 + e1 * s1 * c2) - e1 * e2 * y * s1 * s2)

    return np.array(
        [
            0.5 * (low + high) if high - low < 4.0 * gap else brentq(f, low + gap, high - gap)
            for low, high in itertools.pairwise(poles)
        ]
    )


def two_layers(
    depth: ArrayLike,
    t: ArrayLike,
    *,
    one: Body,
    two: Body,
    thickness: tuple[float, float],
    conductance: float,
    modes: int = 200,
) -> tuple[Array, Array]:
    """Temperatures of two layers joined by a conductance, their outer faces insulated.

    `depth` [m] from the contact and t > 0 [s] broadcast; returns T of layer one and of layer two
    at that depth (to be read only inside the layer). Modes A cos(y x1/sqrt(a1)), B cos(y
    x2/sqrt(a2)), x from the outer faces, fading as exp(-y^2 t); the mean of both stays.

    Source: Carslaw and Jaeger 1959, section 14.3 (composite slab), here as an eigenfunction
    expansion orthogonal under rho c.
    """
    x, time = np.broadcast_arrays(np.asarray(depth, float), np.asarray(t, float))
    d1, d2 = thickness
    r1, r2 = np.sqrt(one.diffusivity), np.sqrt(two.diffusivity)
    y = _layer_roots(one, two, d1 / r1, d2 / r2, conductance, modes)
    s1, c1, s2, c2 = (
        np.sin(y * d1 / r1),
        np.cos(y * d1 / r1),
        np.sin(y * d2 / r2),
        np.cos(y * d2 / r2),
    )
    # Amplitude in layer two for one in layer one, from whichever contact condition is sharper.
    jump = c1 - one.effusivity * y * s1 / conductance
    flat = np.abs(c2) > np.abs(s2)
    ratio = np.where(
        flat,
        jump / np.where(flat, c2, 1.0),
        -one.effusivity * s1 / (two.effusivity * np.where(flat, 1.0, s2)),
    )
    heat1, heat2 = one.rho * one.c, two.rho * two.c
    norm = heat1 * (d1 / 2.0 + r1 * s1 * c1 / (2.0 * y))
    norm = norm + heat2 * ratio**2 * (d2 / 2.0 + r2 * s2 * c2 / (2.0 * y))
    mean = (heat1 * d1 * one.start + heat2 * d2 * two.start) / (heat1 * d1 + heat2 * d2)
    first = heat1 * (one.start - mean) * r1 * s1 / y
    weight = (first + heat2 * (two.start - mean) * ratio * r2 * s2 / y) / norm
    fade = weight * decay(y**2 * time[..., None])
    warm = mean + np.sum(fade * np.cos(y * (d1 - x[..., None]) / r1), axis=-1)
    cool = mean + np.sum(fade * ratio * np.cos(y * (d2 - x[..., None]) / r2), axis=-1)
    return np.asarray(warm), np.asarray(cool)


def lap_steady(
    x: ArrayLike,
    *,
    thickness: tuple[float, float],
    k: tuple[float, float],
    overlap: float,
    h: float,
    conductance: float,
    heat: float,
) -> tuple[Array, Array, tuple[float, float]]:
    """Steady rise of two lapped thin sheets, and the heat that leaves along each free part.

    Sheet one comes from -inf and ends at x = `overlap`, where `heat` [W/m of width] enters its
    edge; sheet two begins at x = 0 (edge insulated) and goes to +inf. Over 0 < x < overlap heat
    passes through `conductance` and each sheet has one exposed face (film `h`); the free parts
    lose from both. x (m,) [m] inside the overlap; returns theta_1 (m,), theta_2 (m,) and the two
    heats [W/m].

    Source: fin equations, Incropera section 3.6, coupled as in the theory of the single lap
    joint (shear lag); four exponentials from the 2 x 2 eigenproblem.
    """
    place = np.atleast_1d(np.asarray(x, float))
    kd = np.array(k) * np.array(thickness)
    free = np.sqrt(2.0 * h * kd)  # conductance of a free part, an endless fin [W/(m K)]
    coupling = np.array([[h + conductance, -conductance], [-conductance, h + conductance]])
    # a symmetric matrix over a positive one: real, though some releases return complex numbers
    square, shape = (each.real for each in np.linalg.eig(coupling / kd[:, None]))
    m = np.sqrt(square)

    def basis(at: Array) -> tuple[Array, Array]:
        fall, climb = decay(m * at[:, None]), decay(m * (overlap - at[:, None]))
        value = np.concatenate([fall, climb], axis=1)
        slope = np.concatenate([-m * fall, m * climb], axis=1)
        return value, slope

    value, slope = basis(np.array([0.0, overlap]))
    both = np.concatenate([shape, shape], axis=1)  # row: sheet; column: exponential
    system = np.array(
        [
            kd[0] * both[0] * slope[0] - free[0] * both[0] * value[0],
            both[1] * slope[0],
            kd[0] * both[0] * slope[1],
            kd[1] * both[1] * slope[1] + free[1] * both[1] * value[1],
        ]
    )
    amplitude = np.linalg.solve(system, np.array([0.0, 0.0, heat, 0.0]))
    theta = basis(place)[0] @ (both * amplitude).T
    ends = value @ (both * amplitude).T
    return theta[:, 0], theta[:, 1], (float(free[0] * ends[0, 0]), float(free[1] * ends[1, 1]))
