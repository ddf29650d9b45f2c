"""Alloys: properties against temperature, enthalpy and its inverse, and the built-in library."""

from __future__ import annotations

from .alloy import Alloy
from .library import UnknownAlloyError, builtin, builtin_name, builtin_names, trade_names
from .property import Piece, Property
from .table import EnthalpyTable

__all__ = [
    "Alloy",
    "EnthalpyTable",
    "Piece",
    "Property",
    "UnknownAlloyError",
    "builtin",
    "builtin_name",
    "builtin_names",
    "trade_names",
]
