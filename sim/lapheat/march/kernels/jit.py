"""How functions are compiled; where the machine code is kept: see `kept`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numba

from .kept import KeptCode, folder

__all__ = ["compiled", "fast", "plain", "sums"]

config: Any = numba.config
_MATH = {"contract", "nsz", "arcp"}
_FOLDER = folder()


def compiled(function: Callable[..., Any], **options: Any) -> Any:
    """`function` through numba, kept in `folder`."""
    # a division that may raise would keep its loop from being vectorised
    made = numba.njit(error_model="numpy", **options)(function)
    before = config.CACHE_DIR
    config.CACHE_DIR = str(_FOLDER or "")
    try:
        if _FOLDER is not None:
            made._cache = KeptCode(function)
    finally:
        config.CACHE_DIR = before
    return made


def plain(function: Callable[..., Any]) -> Any:
    """Compile with arithmetic as written."""
    return compiled(function)


def fast(function: Callable[..., Any], parallel: bool = False) -> Any:
    """Compile with products and sums contracted; `parallel` for loops over threads."""
    return compiled(function, fastmath=_MATH, parallel=parallel)


def sums(function: Callable[..., Any]) -> Any:
    """Compile as `fast`, with sums over a row in any order."""
    return compiled(function, fastmath=_MATH | {"reassoc"})
