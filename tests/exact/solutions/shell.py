"""Sources on the wall of a thin tube, unrolled and closed by images; and ring sources.

The wall is taken as one temperature through its thickness.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import i0e

from .common import Array, Run, decay, gauss, panels, times_and_points

__all__ = [
    "instant_ring_on_sheet",
    "mean_rise",
    "moving_gaussian_images",
    "ring_on_sheet",
    "ring_on_tube",
]


def moving_gaussian_images(
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
    loss: float = 0.0,
) -> Array:
    """Rise (n, p) of a thin tube under a Gaussian that runs round it at height `seam`.

    Points phi (p,) [rad], z (p,) [m] from one end; times t (n,) [s]. `radius` is the mean radius,
    on which the runs' speed and the spot are measured; ends insulated; `loss` is the sum of the
    films outside and inside [W/(m^2 K)]. On the unrolled wall each run adds
    P/(rho c d) integral of exp(-H theta/(rho c d)) X Z/(2 pi S), S = s^2 + 2 a theta, where X is
    the Gaussian of the distance round the tube summed over all turns, and Z that of the height
    summed over its mirror images in both ends.

    Source: Carslaw and Jaeger 1959, section 10.3 (sources) and 10.10 (images).
    """
    time, (angle, height) = times_and_points(t, phi, z)
    a, heat, round_ = k / (rho * c), rho * c * wall, 2.0 * np.pi * radius
    rise = np.zeros((time.size, angle.size))
    for i, now in enumerate(time):
        for run in runs:
            if now <= run.begin:
                continue
            edges = panels(now - min(now, run.end), now - run.begin, spot, a, run.speed)
            theta, weight = gauss(edges)
            double = 2.0 * (spot**2 + 2.0 * a * theta)
            reach = 9.0 * np.sqrt(0.5 * double.max())
            arc = run.start * radius + run.speed * (now - theta - run.begin)
            offset = angle[:, None] * radius - arc
            offset -= round_ * np.round(offset / round_)
            turns = int(np.ceil(reach / round_))
            around = sum(
                decay((offset + n * round_) ** 2 / double) for n in range(-turns, turns + 1)
            )
            ends = int(np.ceil(reach / (2.0 * length)))
            along = sum(
                decay((height[:, None] - mirror + 2.0 * n * length) ** 2 / double)
                for n in range(-ends, ends + 1)
                for mirror in (seam, -seam)
            )
            kernel = weight * decay(loss * theta / heat) / (np.pi * double)
            rise[i] += run.power / heat * np.sum(kernel * around * along, axis=1)
    return rise


def mean_rise(
    t: ArrayLike,
    runs: Sequence[Run],
    *,
    area: float,
    wall: float,
    rho: float,
    c: float,
    loss: float,
) -> Array:
    """Mean rise (n,) of a wall of `area` [m^2] at times t (n,) [s], from its energy balance alone.

    rho c d A dT/dt = P(t) - H A T, run by run; `loss` may be zero.
    """
    time = np.atleast_1d(np.asarray(t, float))
    heat = rho * c * wall
    rise = np.zeros_like(time)
    for run in runs:
        on = np.clip(time - run.begin, 0.0, run.end - run.begin)
        after = np.maximum(time - run.end, 0.0)
        grown = heat / loss * -np.expm1(-loss * on / heat) if loss else on
        rise += run.power / (heat * area) * grown * decay(loss * after / heat)
    return rise


def ring_on_tube(
    z: ArrayLike,
    t: ArrayLike,
    *,
    power: float,
    duration: float,
    radius: float,
    wall: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    loss: float = 0.0,
) -> Array:
    """Rise (n, p) of an endless thin tube heated evenly round z = 0 for `duration` [s].

    z (p,) [m], t (n,) [s]. P/(2 pi R rho c d) integral of exp(-H theta/(rho c d))
    exp(-z^2/(2 S))/sqrt(2 pi S), S = s^2 + 2 a theta: what an arc circling ever faster tends to.

    Source: Carslaw and Jaeger 1959, section 10.3 (instantaneous plane source).
    """
    time, (height,) = times_and_points(t, z)
    a, heat = k / (rho * c), rho * c * wall
    rise = np.zeros((time.size, height.size))
    for i, now in enumerate(time):
        theta, weight = gauss(panels(now - min(now, duration), now, spot, a, 0.0))
        double = 2.0 * (spot**2 + 2.0 * a * theta)
        kernel = decay(height[:, None] ** 2 / double) / np.sqrt(np.pi * double)
        fade = weight * decay(loss * theta / heat)
        rise[i] = power / (2.0 * np.pi * radius * heat) * np.sum(fade * kernel, axis=1)
    return rise


def instant_ring_on_sheet(
    r: ArrayLike,
    t: ArrayLike,
    *,
    energy: float,
    ring: float,
    thickness: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    loss: float = 0.0,
) -> Array:
    """Rise of an endless thin sheet after `energy` [J] was put in at once along a blurred circle.

    r, t broadcast [m, s]. E/(rho c d) exp(-H t/(rho c d)) exp(-(r^2 + R^2)/(2 S))
    I0(r R/S)/(2 pi S), S = s^2 + 2 a t.

    Source: Carslaw and Jaeger 1959, section 10.3 (instantaneous cylindrical surface source),
    equation (5) there.
    """
    place, time = np.broadcast_arrays(np.asarray(r, float), np.asarray(t, float))
    heat = rho * c * thickness
    width = spot**2 + 2.0 * k / (rho * c) * time
    # I0 is scaled by exp(-r R/S), which completes the square.
    kernel = decay((place - ring) ** 2 / (2.0 * width)) * i0e(place * ring / width)
    return np.asarray(energy / heat * decay(loss * time / heat) * kernel / (2.0 * np.pi * width))


def ring_on_sheet(
    r: ArrayLike,
    t: ArrayLike,
    *,
    power: float,
    duration: float,
    ring: float,
    thickness: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    loss: float = 0.0,
) -> Array:
    """Rise (n, p) of an endless thin sheet heated for `duration` [s] along a circle, blurred.

    r (p,) [m], t (n,) [s]; `instant_ring_on_sheet` summed over the heating time.

    Source: Carslaw and Jaeger 1959, sections 10.3 and 10.4.
    """
    time, (place,) = times_and_points(t, r)
    rise = np.zeros((time.size, place.size))
    for i, now in enumerate(time):
        theta, weight = gauss(panels(now - min(now, duration), now, spot, k / (rho * c), 0.0))
        one = instant_ring_on_sheet(
            place[:, None],
            theta,
            energy=power,
            ring=ring,
            thickness=thickness,
            spot=spot,
            k=k,
            rho=rho,
            c=c,
            loss=loss,
        )
        rise[i] = one @ weight
    return rise
