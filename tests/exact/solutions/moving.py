"""Moving and standing sources on thick bodies and thin sheets. xi is measured ahead of the arc."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq, minimize_scalar
from scipy.special import k0e

from .common import Array, Run, decay, gauss, panels, times_and_points

__all__ = [
    "eagar_tsai",
    "isotherm_half_width",
    "line_source_sheet",
    "point_source",
    "sheet_gaussian",
    "spot_centre",
]


def spot_centre(
    t: ArrayLike, *, power: float, spot: float, k: float, rho: float, c: float
) -> Array:
    """Rise under the middle of a standing Gaussian on a thick body; t [s], inf allowed.

    Q/(k s sqrt(8 pi)) (2/pi) atan(sqrt(2 alpha t)/s).

    Source: Carslaw and Jaeger 1959, section 10.5, with a Gaussian in place of the disc;
    Eagar and Tsai 1983 at zero speed.
    """
    time = np.asarray(t, float)
    angle = np.arctan(np.sqrt(2.0 * k / (rho * c) * time) / spot)
    return np.asarray(power / (k * spot * np.sqrt(8.0 * np.pi)) * 2.0 / np.pi * angle)


def point_source(
    xi: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    *,
    power: float,
    speed: float,
    k: float,
    rho: float,
    c: float,
) -> Array:
    """Steady rise round a point source moving on a thick body.

    Q/(2 pi k r) exp(-v (r + xi)/(2 alpha)); xi, y, z [m] broadcast, r > 0.

    Source: Rosenthal 1946, Trans. ASME 68, 849; Carslaw and Jaeger 1959, section 10.7.
    """
    xi, y, z = np.broadcast_arrays(*(np.asarray(a, float) for a in (xi, y, z)))
    r = np.sqrt(xi**2 + y**2 + z**2)
    return np.asarray(power / (2.0 * np.pi * k * r) * decay(speed * (r + xi) * rho * c / (2.0 * k)))


def line_source_sheet(
    xi: ArrayLike,
    y: ArrayLike,
    *,
    power: float,
    speed: float,
    thickness: float,
    k: float,
    rho: float,
    c: float,
    loss: float = 0.0,
) -> Array:
    """Steady rise round a line source moving through a thin sheet that loses heat at its faces.

    Q/(2 pi k d) exp(-v xi/(2 alpha)) K0(r sqrt((v/(2 alpha))^2 + H/(k d))), H = `loss` the sum of
    both films [W/(m^2 K)]; xi, y [m] broadcast, r > 0.

    Source: Rosenthal 1946, Trans. ASME 68, 849; Carslaw and Jaeger 1959, section 10.7.
    """
    xi, y = np.broadcast_arrays(np.asarray(xi, float), np.asarray(y, float))
    r = np.hypot(xi, y)
    peclet = speed * rho * c / (2.0 * k)
    m = np.sqrt(peclet**2 + loss / (k * thickness))
    return np.asarray(
        power / (2.0 * np.pi * k * thickness) * k0e(m * r) * decay(peclet * xi + m * r)
    )


def eagar_tsai(
    xi: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    t: float = np.inf,
    *,
    power: float,
    speed: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
) -> Array:
    """Rise round a Gaussian that has been moving on a thick body for t [s]; inf is quasi-steady.

    Q/(rho c) integral over theta from 0 to t of exp(-z^2/(4 a theta))/sqrt(pi a theta)
    exp(-((xi + v theta)^2 + y^2)/(2 S))/(2 pi S), S = s^2 + 2 a theta, with theta = u^2.
    xi, y, z [m] broadcast. The quasi-steady answer needs speed > 0.

    Source: Eagar and Tsai 1983, Welding Journal 62, 346s-355s.
    """
    xi, y, z = np.broadcast_arrays(*(np.asarray(a, float)[..., None] for a in (xi, y, z)))
    a = k / (rho * c)
    # Beyond this the source is too far back to be felt: exp(-v^2 theta/(4 a)) < 1e-21, and the
    # point is well ahead of where the arc then was.
    long_ago = 200.0 * a / speed**2 + 4.0 * float(np.abs(xi).max()) / speed if speed else np.inf
    edges = np.sqrt(panels(0.0, min(t, long_ago), spot, a, speed))
    # The first panels also resolve exp(-z^2/(4 a theta)) just below the surface.
    fine = np.linspace(0.0, edges[1], 17)
    u, weight = gauss(np.concatenate([fine, edges[2:]]), order=16)
    theta = u**2
    width = spot**2 + 2.0 * a * theta
    depth = decay(z**2 / (4.0 * a * theta)) / np.sqrt(np.pi * a)
    plane = decay(((xi + speed * theta) ** 2 + y**2) / (2.0 * width)) / (2.0 * np.pi * width)
    return np.asarray(power / (rho * c) * np.sum(2.0 * weight * depth * plane, axis=-1))


def sheet_gaussian(
    x: ArrayLike,
    y: ArrayLike,
    t: ArrayLike,
    runs: Sequence[Run],
    *,
    thickness: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    loss: float = 0.0,
) -> Array:
    """Rise (n, p) of an endless thin sheet under a Gaussian that runs along y = 0 with pauses.

    Points x, y (p,) [m], times t (n,) [s]; `loss` the sum of the films on both faces. Each run
    adds P/(rho c d) integral of exp(-H theta/(rho c d)) exp(-((x - x_a)^2 + y^2)/(2 S))/(2 pi S),
    S = s^2 + 2 a theta, theta = t - tau.

    Source: Carslaw and Jaeger 1959, section 10.3 (instantaneous line source), blurred by the
    spot as Eagar and Tsai 1983 do.
    """
    time, (px, py) = times_and_points(t, x, y)
    a, heat = k / (rho * c), rho * c * thickness
    rise = np.zeros((time.size, px.size))
    for i, now in enumerate(time):
        for run in runs:
            if now <= run.begin:
                continue
            edges = panels(now - min(now, run.end), now - run.begin, spot, a, run.speed)
            theta, weight = gauss(edges)
            width = spot**2 + 2.0 * a * theta
            arc = run.start + run.speed * (now - theta - run.begin)
            square = (px[:, None] - arc) ** 2 + py[:, None] ** 2
            kernel = decay(square / (2.0 * width)) / (2.0 * np.pi * width)
            rise[i] += (
                run.power / heat * np.sum(weight * kernel * decay(loss * theta / heat), axis=1)
            )
    return rise


def isotherm_half_width(
    rise: Callable[[float, float], float], level: float, *, behind: float, ahead: float, far: float
) -> tuple[float, float]:
    """Largest |y| [m] where `rise`(xi, y) reaches `level` [K], and the xi [m] where it does.

    Searched for xi between `behind` and `ahead`, y up to `far`; `rise` must fall with y.
    """

    def half(xi: float) -> float:
        if rise(xi, 0.0) <= level:
            return 0.0
        return float(brentq(lambda y: rise(xi, y) - level, 0.0, far, xtol=1e-10))

    best = minimize_scalar(
        lambda xi: -half(xi), bounds=(behind, ahead), method="bounded", options={"xatol": 1e-8}
    )
    return -float(best.fun), float(best.x)
