"""The source files, and the cases of `cases/published` run with changes put over them."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from lapheat import Case, Result, read_case, simulate

__all__ = ["bead", "run", "source"]

SOURCES = Path(__file__).parent / "sources"
CASES = Path(__file__).parents[2] / "cases" / "published"


def source(name: str) -> dict[str, Any]:
    """Return what the data file of a source holds."""
    return tomllib.loads((SOURCES / f"{name}.toml").read_text("utf-8"))


def bead(name: str, *changes: str) -> Case:
    """Read a published case; `changes` are "KEY=VALUE" texts, as `--set` takes them."""
    return read_case(CASES / f"{name}.toml", changes)


def run(name: str, *changes: str) -> Result:
    """Run a published case on one thread."""
    return simulate(bead(name, *changes), threads=1)
