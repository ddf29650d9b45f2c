"""The march against melting: at a point, over a range, and behind a travelling source."""

from __future__ import annotations

import numpy as np
import pytest

from exact.build import BLACK, HELD, MM, ZERO, Array, Part, Rig, spread, stretched
from exact.errors import Record
from exact.solutions import stefan
from lapheat.case.alloys import Alloy, Piece, Property

COLDEST, HOTTEST = 1.0, 1e4


def by_phase(solidus: float, liquidus: float, values: tuple[float, float, float]) -> Property:
    """Property with one value solid, one mushy and one liquid; temperatures in degC."""
    ends = [COLDEST, solidus + ZERO, liquidus + ZERO, HOTTEST]
    return Property(
        tuple(Piece(a, b, (v,)) for a, b, v in zip(ends[:-1], ends[1:], values, strict=True))
    )


def alloy(
    solidus: float,
    liquidus: float,
    rho: float,
    latent: float,
    k: tuple[float, float, float],
    c: tuple[float, float, float],
) -> Alloy:
    """Alloy of properties by phase: `k`, `c` are of liquid, mushy and solid, as in `stefan`."""
    return Alloy(
        name="melting",
        density=rho,
        conductivity=by_phase(solidus, liquidus, k[::-1]),
        specific_heat=by_phase(solidus, liquidus, c[::-1]),
        emissivity=BLACK,
        solidus=solidus + ZERO,
        liquidus=liquidus + ZERO,
        latent_heat=latent,
    )


class Slab:
    """A half-space, cells of `size` [m] near its face, which is held at `face` [degC]."""

    def __init__(self, metal: Alloy, size: float, start: float, face: float) -> None:
        self.ends = stretched(12.0 * MM, 150.0 * MM, size, 1.05)
        part = Part.swept((self.ends, [0.0, 1.0]))
        problem = part.problem(
            metal,
            film={"left": HELD},
            air=dict.fromkeys(part.others("left"), ZERO) | {"left": face + ZERO},
            start=start + ZERO,
        )
        self.metal = metal
        self.cells = part.blocks[0].ids[0]
        places = np.array([2.0, 5.0, 10.0, 20.0]) * MM
        self.rig = Rig(problem, [part.nodes(problem, 0.0, x, 0.5, points=2) for x in places])

    def to(self, time: float) -> Array:
        """March to `time` [s]; returns T at 2, 5, 10 and 20 mm [degC]."""
        first = 1e-4 if self.rig.now == 0.0 else None
        self.rig.go(time, 0.04, first=first)
        return self.rig.read() - ZERO

    def melted(self) -> float:
        """Thickness of what has melted, by its latent heat [m]."""
        assert self.metal.solidus is not None
        assert self.metal.latent_heat is not None
        taken_up = self.rig.state.h[self.cells, 0] - float(self.metal.enthalpy(self.metal.solidus))
        share = np.clip(taken_up / self.metal.latent_heat, 0.0, 1.0)
        return float(share @ np.diff(self.ends))

    def reached(self, level: float) -> float:
        """Depth [m] to which the slab is above `level` [degC]."""
        middle = 0.5 * (self.ends[1:] + self.ends[:-1])
        t = self.rig.state.temperature(0)[self.cells] - ZERO
        i = int(np.argmax(t < level))
        return float(np.interp(-level, -t[i - 1 : i + 1], middle[i - 1 : i + 1]))


def test_melting_at_a_point(record: Record) -> None:
    """F. Neumann; Carslaw and Jaeger 1959, 11.2: 8 K, and the front within one cell of 0.2 mm.

    The front crosses a fixed mesh cell by cell: the error is a staircase and has no order.
    """
    metal = alloy(1450.0, 1450.0, 7500.0, 2.7e5, (30.0, 30.0, 26.0), (790.0, 790.0, 650.0))
    exact = stefan.neumann(
        k_solid=26.0, c_solid=650.0, k_liquid=30.0, c_liquid=790.0, rho=7500.0, latent=2.7e5,
        melting=1450.0, start=25.0, face=1600.0,
    )  # fmt: skip
    slab = Slab(metal, 0.2 * MM, 25.0, 1600.0)
    source = "Neumann; Carslaw and Jaeger 1959, 11.2"
    place = np.array([2.0, 5.0, 10.0, 20.0]) * MM
    for time in (2.0, 10.0, 40.0):
        found = slab.to(time)
        worst = np.abs(found - exact.temperature(place, time)).max()
        record("melting at a point, 0.2 mm cells", source, worst, 8.0, "K")
        off = abs(slab.melted() - float(exact.front(time)[0])) / MM
        record("melting at a point: front", source, off, 0.2, "mm")


STEEL = {
    "k": (30.0, 28.0, 26.0),
    "c": (790.0, 700.0, 650.0),
    "rho": 7500.0,
    "latent": 2.7e5,
    "solidus": 1400.0,
    "liquidus": 1455.0,
}
BRONZE = {
    "k": (40.0, 36.0, 36.0),
    "c": (480.0, 430.0, 380.0),
    "rho": 8530.0,
    "latent": 2.1e5,
    "solidus": 971.0,
    "liquidus": 1027.0,
}


@pytest.mark.parametrize(
    ("name", "body", "face", "times"),
    [("steel", STEEL, 1600.0, (2.0, 10.0, 40.0)), ("bronze", BRONZE, 1080.0, (1.0, 5.0, 20.0))],
)
def test_melting_over_a_range(
    name: str, body: dict[str, float], face: float, times: tuple[float, ...], record: Record
) -> None:
    """Carslaw and Jaeger 1959, 11.2, with a mushy region: 3 K, fronts within half a 0.2 mm cell."""
    exact = stefan.melting_over_range(start=25.0, face=face, **body)
    slab = Slab(alloy(**body), 0.2 * MM, 25.0, face)
    source = "Carslaw and Jaeger 1959, 11.2; Alexiades and Solomon 1993"
    place = np.array([2.0, 5.0, 10.0, 20.0]) * MM
    for time in times:
        found = slab.to(time)
        worst = np.abs(found - exact.temperature(place, time)).max()
        record(f"melting over a range ({name}), 0.2 mm cells", source, worst, 3.0, "K")
        fronts = np.array([slab.reached(body["liquidus"]), slab.reached(body["solidus"])])
        off = np.abs(fronts - exact.front(time)).max() / MM
        record(f"melting over a range ({name}): fronts", source, off, 0.03, "mm")


K = Property((Piece(COLDEST, HOTTEST, (14.6, 0.0127), zero=ZERO),))
C = Property((Piece(COLDEST, 1200.0 + ZERO, (450.0, 0.280, -2.91e-4, 1.34e-7), zero=ZERO),))
STAINLESS = Alloy(
    name="stainless",
    density=7900.0,
    conductivity=K,
    specific_heat=C,
    emissivity=BLACK,
    solidus=1400.0 + ZERO,
    liquidus=1455.0 + ZERO,
    latent_heat=2.6e5,
)


def strip(flux: float, size: float, places: Array) -> Array:
    """T [degC] ahead of a source that has gone 120 mm along an insulated strip at 2 mm/s."""
    spot, speed, begin, length = 2.0 * MM, 2.0 * MM, 20.0 * MM, 170.0 * MM
    layers = round(length / size)
    part = Part.swept(([0.0, 1.0], [0.0, 0.5, 1.0]), layers=layers, step=size)
    problem = part.problem(STAINLESS, start=20.0 + ZERO)
    rig = Rig(problem, [part.nodes(problem, 140.0 * MM + x, 0.5, 0.5) for x in places])
    rig.state.extra = np.zeros(rig.state.h.shape)
    ends = np.arange(layers + 1) * size

    def shine(rig: Rig, time: float) -> float:
        rig.state.extra[:] = 0.5 * flux * spread(ends, begin + speed * time, spot)
        return flux

    rig.go(60.0, 0.1 * spot / speed * size / (0.5 * MM), shine)
    assert rig.state.stored() == pytest.approx(rig.given, rel=1e-6)
    return rig.read() - ZERO


@pytest.mark.parametrize("flux", [8e6, 12e6, 16e6])
def test_travelling_source_with_everything(flux: float, record: Record) -> None:
    """Rosenthal 1946 in the moving frame, k(T), c(T) and latent heat at once: 3 K, 0.5 mm cells.

    k and c as EN 1993-1-2 gives them for stainless steel.
    """
    place = np.array([-15.0, -6.0, -2.0, 0.0, 2.0, 4.0, 6.0]) * MM
    exact, _ = stefan.travelling_source(
        place, flux=flux, speed=2.0 * MM, spot=2.0 * MM, rho=7900.0, start=20.0,
        conductivity=lambda t: K(t + ZERO), enthalpy=lambda t: STAINLESS.enthalpy(t + ZERO),
    )  # fmt: skip
    source = "Rosenthal 1946, moving frame, first integral"
    error = [np.abs(strip(flux, size, place) - exact).max() for size in (1.0 * MM, 0.5 * MM)]
    record("travelling source, k(T), c(T), latent heat", source, error[1], 3.0, "K")
    if flux == 8e6:  # no melting: smooth
        record.order("travelling source, k(T), c(T): space", source, error)
