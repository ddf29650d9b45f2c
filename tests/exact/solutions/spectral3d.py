"""A moving Gaussian on a wall of finite thickness, flat or round: eigenfunction expansions.

Along and across a plate the eigenfunctions are cosines, round a tube exp(i n phi). Through the
wall they are the sines and cosines, or Bessel functions, that meet the film at each face. They
are computed as a Legendre expansion (Galerkin), which for so smooth a function is exact to
round-off in the modes that matter and, unlike the bare series, also complete: the steep but
steady gradient right under the arc needs no further modes. Tests check them against the
transcendental equations. The response in time is exact.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.linalg import eigh

from .common import Array, Run, decay, gauss, response, times_and_points

__all__ = ["hollow_cylinder", "plate", "wall_modes"]


def wall_modes(
    depth: ArrayLike,
    *,
    thickness: float,
    h_source: float,
    h_far: float,
    k: float,
    outer_radius: float = np.inf,
    orders: ArrayLike = 0,
    count: int = 12,
) -> tuple[Array, Array]:
    """Modes through a wall: mu^2 (o, q) [1/m^2] and R (o, q, d + 1) at depth 0 and at `depth` (d,).

    -(w R')' + n^2 R/w = mu^2 w R, w the radius (1 for a flat wall), with k R' = h R inward at the
    heated face (depth 0) and -k R' = h R at the far face; integral of w R^2 = 1. `orders` (o,)
    are the n.
    """
    legendre = np.polynomial.legendre

    def metric(at: Array) -> Array:
        return outer_radius - at if np.isfinite(outer_radius) else np.ones_like(at)

    def basis(at: Array) -> Array:
        return np.asarray(legendre.legvander(2.0 * at / thickness - 1.0, count - 1))

    node, weight = gauss([0.0, thickness], order=count + 8)
    w, value = metric(node), basis(node)
    slope = legendre.legval(2.0 * node / thickness - 1.0, legendre.legder(np.eye(count)))
    slope = 2.0 / thickness * slope.T
    faces = np.array([0.0, thickness])
    film = np.array([h_source, h_far]) / k * metric(faces)
    mass = (value.T * (weight * w)) @ value
    stiff = (slope.T * (weight * w)) @ slope + (basis(faces).T * film) @ basis(faces)
    swirl = (value.T * (weight / w)) @ value
    solved = [eigh(stiff + float(n) ** 2 * swirl, mass) for n in np.atleast_1d(orders)]
    points = basis(np.concatenate([[0.0], np.atleast_1d(np.asarray(depth, float))]))
    square = np.array([one[0] for one in solved])
    return np.maximum(square, 0.0), np.array([(points @ one[1]).T for one in solved])


def _wave_count(spot: float, period: float) -> int:
    """Return the number of waves cos(n pi x/period) until the spot has blurred them by exp(-40)."""
    return int(np.ceil(9.0 * period / (np.pi * spot))) + 1


def _cosines(at: Array, n: Array, length: float) -> Array:
    """Return cos(n pi x/L), divided by the integral of its square over 0 to L: (..., n)."""
    return np.cos(n * np.pi * at[..., None] / length) * np.where(n == 0, 1.0, 2.0) / length


def plate(
    x: ArrayLike,
    y: ArrayLike,
    z: ArrayLike,
    t: ArrayLike,
    runs: Sequence[Run],
    *,
    size: tuple[float, float, float],
    path: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    h_source: float,
    h_far: float,
    count: int = 12,
) -> Array:
    """Rise (n, p) of a rectangular plate, edges insulated, a Gaussian running along y = `path`.

    Points x, y, z (p,) [m], z down from the heated face; times (n,) [s]; `size` is length, width,
    thickness [m]; films [W/(m^2 K)] on the heated and the far face. What of the spot falls beyond
    an edge is mirrored back. Sum of cos(m pi x/a) cos(n pi y/b) R_q(z) with the exact response
    in time of each.

    Source: Carslaw and Jaeger 1959, sections 6.2 and 14.3-14.7 (Green's functions as products).
    """
    time, (px, py, pz) = times_and_points(t, x, y, z)
    a = k / (rho * c)
    nx = np.arange(_wave_count(spot, size[0]), dtype=float)
    ny = np.arange(_wave_count(spot, size[1]), dtype=float)
    wx, wy = nx * np.pi / size[0], ny * np.pi / size[1]
    square, shape = wall_modes(
        pz, thickness=size[2], h_source=h_source, h_far=h_far, k=k, count=count
    )
    rate = a * (wx[:, None, None] ** 2 + wy[:, None] ** 2 + square[0])
    across = np.cos(wy * path) * decay(0.5 * (wy * spot) ** 2)
    at_x = _cosines(px, nx, size[0]) * decay(0.5 * (wx * spot) ** 2)
    at_y = _cosines(py, ny, size[1]) * across
    at_z = (shape[0, :, :1] * shape[0, :, 1:]).T
    answers = [
        response(
            rate,
            (wx * run.speed)[:, None, None],
            run,
            run.power / (rho * c) * np.exp(1j * wx * run.start)[:, None, None],
        )
        for run in runs
    ]
    rise = np.zeros((time.size, px.size))
    for i, now in enumerate(time):
        mode = np.zeros(rate.shape)
        for answer in answers:
            mode += answer(now).real
        rise[i] = np.einsum("pl,pm,pq,lmq->p", at_x, at_y, at_z, mode, optimize=True)
    return rise


def hollow_cylinder(
    phi: ArrayLike,
    z: ArrayLike,
    depth: ArrayLike,
    t: ArrayLike,
    runs: Sequence[Run],
    *,
    outer_radius: float,
    wall: float,
    length: float,
    seam: float,
    spot: float,
    k: float,
    rho: float,
    c: float,
    h_outside: float,
    h_inside: float,
    count: int = 12,
) -> Array:
    """Rise (n, p) of a tube, ends insulated, a Gaussian running round its outside at z = `seam`.

    Points phi (p,) [rad], z (p,) [m] from one end, depth (p,) [m] below the outside; times (n,)
    [s]. Speed and spot are measured on the outside. Sum of exp(i n phi) cos(m pi z/L) R_nq(r)
    with the exact response in time of each; R_nq the cross-products of Bessel functions.

    Source: Carslaw and Jaeger 1959, chapter 14 (Green's function of the hollow cylinder).
    """
    time, (angle, height, deep) = times_and_points(t, phi, z, depth)
    a = k / (rho * c)
    n = np.arange(_wave_count(spot, np.pi * outer_radius), dtype=float)
    m = np.arange(_wave_count(spot, length), dtype=float)
    levels, level = np.unique(deep, return_inverse=True)
    square, shape = wall_modes(
        levels,
        thickness=wall,
        h_source=h_outside,
        h_far=h_inside,
        k=k,
        outer_radius=outer_radius,
        orders=n,
        count=count,
    )
    wave = m * np.pi / length
    rate = a * (square[:, None, :] + wave[:, None] ** 2)
    blur = decay(0.5 * (n * spot / outer_radius) ** 2) * np.where(n == 0, 1.0, 2.0) / (2.0 * np.pi)
    at_angle = np.exp(1j * n * angle[:, None]) * blur
    at_height = _cosines(height, m, length) * np.cos(wave * seam) * decay(0.5 * (wave * spot) ** 2)
    through = shape[:, :, :1] * shape[:, :, 1:]  # (n, q, level)
    answers = [
        response(
            rate,
            (-n * run.speed / outer_radius)[:, None, None],
            run,
            run.power / (rho * c) * np.exp(-1j * n * run.start)[:, None, None],
        )
        for run in runs
    ]
    rise = np.zeros((time.size, angle.size))
    for i, now in enumerate(time):
        mode = np.zeros(rate.shape, dtype=complex)
        for answer in answers:
            mode += answer(now)
        sheet = np.matmul(mode, through)  # (n, m, level)
        for j in range(levels.size):
            here = level == j
            field = (at_angle[here] @ sheet[:, :, j]).real * at_height[here]
            rise[i, here] = field.sum(axis=1)
    return rise
