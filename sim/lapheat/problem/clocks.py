"""What the base is timed by: sensitisation, liquid copper, A1, cooling from 800 to 500 degC."""

from __future__ import annotations

from math import inf

import numpy as np

from ..case.alloys import builtin
from ..case.alloys.sensitisation import RANGE, time_to_sensitise
from ..case.case import Case
from ..constants import ZERO_CELSIUS
from .arrays import Clocks

__all__ = ["clocks_of"]

PER_KELVIN = 4  # nodes of the tables; between them the pace of a curve is level
COOLING = (800.0 + ZERO_CELSIUS, 500.0 + ZERO_CELSIUS)


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
        flange, solidus = case.alloys[case.brazed.flange.alloy], case.brazed.filler.solidus or inf
        # Copper enters along grain boundaries of austenite (Savage, Nippes and Mushala 1978,
        # Welding J. 57, 145s). That a flange is at risk above its A3 follows; it is not measured.
        copper = np.array([max(solidus, tube.a3 or 0.0), max(solidus, flange.a3 or 0.0)])
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
