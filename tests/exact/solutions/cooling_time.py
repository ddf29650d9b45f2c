"""Cooling time from 800 to 500 degC beside a weld. Temperatures in degC, as the standard has them.

The formulas hold for unalloyed and low-alloy ferritic steel and a long straight run.
"""

from __future__ import annotations

import numpy as np

__all__ = ["en_thick", "en_thin", "heat_input", "line_source", "transition_thickness"]


def heat_input(voltage: float, current: float, speed: float, efficiency: float = 0.6) -> float:
    """Heat input [kJ/mm] = k U I/(1000 v), `speed` in mm/s; k = 0.6 for TIG.

    Source: EN 1011-1, table 1 (ISO/TR 17671-1).
    """
    return efficiency * voltage * current / (1000.0 * speed)


def en_thin(heat: float, thickness: float, preheat: float, factor: float = 1.0) -> float:
    """t8/5 [s], two-dimensional flow: heat [kJ/mm], thickness [mm], preheat [degC], factor F2.

    (4300 - 4.3 T0) 1e5 (Q/d)^2 [1/(500 - T0)^2 - 1/(800 - T0)^2] F2.

    Source: EN 1011-2, annex D (ISO/TR 17671-2).
    """
    gap = 1.0 / (500.0 - preheat) ** 2 - 1.0 / (800.0 - preheat) ** 2
    return (4300.0 - 4.3 * preheat) * 1e5 * (heat / thickness) ** 2 * gap * factor


def en_thick(heat: float, preheat: float, factor: float = 1.0) -> float:
    """t8/5 [s], three-dimensional flow: heat [kJ/mm], preheat [degC], factor F3.

    (6700 - 5 T0) Q [1/(500 - T0) - 1/(800 - T0)] F3.

    Source: EN 1011-2, annex D (ISO/TR 17671-2).
    """
    gap = 1.0 / (500.0 - preheat) - 1.0 / (800.0 - preheat)
    return (6700.0 - 5.0 * preheat) * heat * gap * factor


def transition_thickness(
    heat: float, preheat: float, factor_thin: float = 1.0, factor_thick: float = 1.0
) -> float:
    """Thickness [mm] where `en_thin` and `en_thick` agree; below it the thin formula governs.

    d^2 = 1e5 Q (4300 - 4.3 T0)/(6700 - 5 T0) [1/(500 - T0) + 1/(800 - T0)] F2/F3.

    Source: EN 1011-2, annex D, by equating the two.
    """
    ratio = (4300.0 - 4.3 * preheat) / (6700.0 - 5.0 * preheat) * factor_thin / factor_thick
    gap = 1.0 / (500.0 - preheat) + 1.0 / (800.0 - preheat)
    return float(np.sqrt(1e5 * heat * ratio * gap))


def line_source(heat: float, thickness: float, preheat: float, k: float, rho_c: float) -> float:
    """t8/5 [s] on the line of a fast line source through a sheet: heat [J/m], thickness [m].

    (Q/d)^2/(4 pi k rho c) [1/(500 - T0)^2 - 1/(800 - T0)^2].

    Source: Rosenthal 1946, Trans. ASME 68, 849 (fast source); Rykalin 1951.
    """
    gap = 1.0 / (500.0 - preheat) ** 2 - 1.0 / (800.0 - preheat) ** 2
    return float((heat / thickness) ** 2 / (4.0 * np.pi * k * rho_c) * gap)
