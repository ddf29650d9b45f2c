"""A small joint that runs in less than a second, and runs of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lapheat.api import Result, simulate
from lapheat.case.file import read_case_text

__all__ = ["SMALL", "run", "text_of"]

Tables = Mapping[str, Mapping[str, Any]]

# a tube of 12 mm, four segments round the ring, hot enough for filler to run into the lap
SMALL: dict[str, dict[str, Any]] = {
    "tube": {"outside_diameter": "12 mm", "wall": "1 mm", "length": "20 mm"},
    "flange": {"thickness": "3 mm", "outside_diameter": "26 mm"},
    "fillet": {"leg": "1.5 mm"},
    "arc": {"current": "70 A", "voltage": "10 V", "spot": "2.5 mm"},
    "travel": {"speed": "4 mm/s", "segment": "9.5 mm", "pause": "1 s", "dwell": "3 s"},
    "numerics": {"detail": "coarse"},
}


def text_of(tables: Tables, *probes: Mapping[str, Any], **changes: Any) -> str:
    """Case file of `tables`, with `changes` named TABLE__KEY put over them."""
    whole = {name: dict(table) for name, table in tables.items()}
    for key, value in changes.items():
        table, _, name = key.partition("__")
        whole.setdefault(table, {})[name] = value
    blocks = [(f"[{name}]", table) for name, table in whole.items()]
    blocks += [("[[probe]]", probe) for probe in probes]
    return "\n".join(
        "\n".join([head, *(f"{key} = {_toml(value)}" for key, value in table.items()), ""])
        for head, table in blocks
    )


def _toml(value: Any) -> str:
    return f'"{value}"' if isinstance(value, str) else str(value)


def run(text: str) -> Result:
    """Run a case file's text through the compiled march."""
    return simulate(read_case_text(text, "small.toml"), threads=1)
