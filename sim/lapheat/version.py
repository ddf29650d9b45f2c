"""Version of the package; a test holds the project file to it."""

from collections.abc import Iterator
from functools import cache
from hashlib import sha256
from pathlib import Path

__all__ = ["__version__", "mark", "marked"]

__version__ = "0.1.0"


# What a kept row of a study comes from. Figures, reports and commands may change without it.
_MAKES_ROWS = (
    "case",
    "joint",
    "problem",
    "history",
    "march",
    "outcomes",
    "api.py",
    "study/runs",
    "study/chance",
    "study/explain/measures.py",
    "study/find",
    "study/calibration",
    "study/sequences/orders.py",
    "study/window/search.py",
    "constants.py",
)


def marked() -> Iterator[Path]:
    """Files that make a row."""
    for name in _MAKES_ROWS:
        part = Path(__file__).parent / name
        for path in sorted(part.rglob("*")) if part.is_dir() else [part]:
            if path.suffix in (".py", ".toml"):
                yield path


@cache
def mark() -> str:
    """Identify this state of the computation: a hash of the files that make a row."""
    found = sha256()
    for path in marked():
        found.update(path.read_bytes())
    return found.hexdigest()[:16]
