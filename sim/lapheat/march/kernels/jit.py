"""How functions are compiled, and where the machine code is kept between runs.

Numba judges by a function's own file alone whether kept machine code is still right. Yet numbers
and functions from other files are compiled in. Lapheat's folder therefore carries a mark of all the
files that take part (this folder, and three whose numbers are compiled in) and of numba's version.
It is where the user keeps caches, so an installation that is read-only works too. Where nothing can
be written, every run compiles.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import numba

__all__ = ["compiled", "fast", "folder", "plain", "sums"]

config: Any = numba.config
_MATH = {"contract", "nsz", "arcp"}


def _mark() -> str:
    found = sha256(numba.__version__.encode())
    package = Path(__file__).parents[2]
    beside = [package / part for part in ("constants.py", "joint/section.py", "problem/arrays.py")]
    for path in sorted([*Path(__file__).parent.glob("*.py"), *beside]):
        found.update(path.read_bytes())
    return found.hexdigest()[:16]


def folder() -> Path | None:
    """Folder of the compiled functions, made if need be; None where none can be written."""
    named = config.CACHE_DIR or os.environ.get("XDG_CACHE_HOME")
    user = getattr(os, "getuid", lambda: 0)()  # 0 where files have no such owner
    for base in (
        Path(named) if named else Path.home() / ".cache",
        Path(tempfile.gettempdir()) / f"cache-{user}",
    ):
        place = base / "lapheat" / _mark()
        try:
            place.mkdir(parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=place):
                pass
            if base.stat().st_uid == user:  # code of another's making is not run
                return place
        except OSError:
            continue
    return None


_FOLDER = folder()


def compiled(function: Callable[..., Any], **options: Any) -> Any:
    """`function` through numba, kept in `folder`."""
    before = config.CACHE_DIR
    config.CACHE_DIR = str(_FOLDER or "")
    try:
        # a division that may raise would keep its loop from being vectorised
        made = numba.njit(cache=_FOLDER is not None, error_model="numpy", **options)
        return made(function)
    finally:
        config.CACHE_DIR = before


def plain(function: Callable[..., Any]) -> Any:
    """Compile with arithmetic as written."""
    return compiled(function)


def fast(function: Callable[..., Any], parallel: bool = False) -> Any:
    """Compile with products and sums contracted; `parallel` for loops over threads."""
    return compiled(function, fastmath=_MATH, parallel=parallel)


def sums(function: Callable[..., Any]) -> Any:
    """Compile as `fast`, with sums over a row in any order."""
    return compiled(function, fastmath=_MATH | {"reassoc"})
