"""What the base is timed by: sensitisation, liquid copper, A1, cooling from 800 to 500 degC."""

from __future__ import annotations

from math import inf

import numpy as np

from ..case.alloys import Alloy, builtin
from ..case.alloys.sensitisation import RANGE, time_to_sensitise
from ..case.case import Case
from ..constants import ZERO_CELSIUS
from .arrays import Clocks

__all__ = ["clocks_of", "is_copper", "is_steel"]

STEELS = ("304", "304L", "316L", "321", "409", "low-carbon steel")
PER_KELVIN = 4  # nodes of the tables; between them the pace of a curve is level
COOLING = (800.0 + ZERO_CELSIUS, 500.0 + ZERO_CELSIUS)


def is_copper(filler: Alloy) -> bool:
    """Whether a filler is known to be copper-based: its name says so, as ISO 24373 has it."""
    return filler.name.startswith("Cu") or filler.name in ("copper", "brass")


def is_steel(base: Alloy) -> bool:
    """Whether a base is known to be a steel: a built-in one, or carbon, A1 or A3 are given."""
    return base.name in STEELS or any(
        number is not None for number in (base.carbon, base.a1, base.a3)
    )


def clocks_of(case: Case) -> Clocks:
    """Clocks of a case: the curves are its own tube's, the same cold-worked, and that of 304.

    The share of the time to sensitise that is used up is ``int dt / t(T)`` (Scheil's rule of
    additivity). A step in which T runs straight from T_1 to T_2 adds
    ``dt (I(T_2) - I(T_1)) / (T_2 - T_1)`` with ``I = int dT / t(T)``, which is tabled.
    """
    low, high = RANGE
    nodes = round((high - low) * PER_KELVIN)
    middle = low + (np.arange(nodes) + 0.5) / PER_KELVIN
    tube, curves = case.alloys[case.tube.alloy], np.zeros((0, nodes + 1))
    if tube.carbon is not None:
        as_304 = builtin("304").carbon or 0.0
        steels = ((tube.carbon, False), (tube.carbon, True), (as_304, False))
        curves = np.zeros((len(steels), nodes + 1))
        for curve, (carbon, cold) in zip(curves, steels, strict=True):
            pace = 1.0 / time_to_sensitise(middle, carbon, cold)
            curve[1:] = np.cumsum(pace) / PER_KELVIN
    copper, a1, a3 = np.array([inf, inf]), inf, inf
    if case.brazed is not None:
        flange, filler = case.alloys[case.brazed.flange.alloy], case.brazed.filler
        solidus = (filler.solidus or inf) if is_copper(filler) else inf
        # Copper enters along grain boundaries of austenite (Savage, Nippes and Mushala 1978,
        # Welding J. 57, 145s). That a flange is at risk above its A3 follows; it is not measured.
        copper = np.array(
            [max(solidus, base.a3 or 0.0) if is_steel(base) else inf for base in (tube, flange)]
        )
        a1, a3 = flange.a1 or inf, flange.a3 or inf
    return Clocks(
        lowest=min(low, COOLING[1], a1, *copper.tolist()),
        low=low,
        per_kelvin=float(PER_KELVIN),
        curves=curves,
        copper=copper,
        a1=a1,
        a3=a3,
        cooling_from=COOLING[0],
        cooling_to=COOLING[1],
    )
