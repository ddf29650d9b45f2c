"""Physical constants in SI."""

from __future__ import annotations

from typing import Final

__all__ = ["STEFAN_BOLTZMANN", "ZERO_CELSIUS"]

ZERO_CELSIUS: Final = 273.15
"""0 degC [K] (definition)."""

STEFAN_BOLTZMANN: Final = 5.670374419e-8
"""Stefan-Boltzmann constant [W/(m2 K4)] (CODATA 2018, exact)."""
