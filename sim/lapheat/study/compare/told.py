"""What a person reads of a comparison: values in the units of the first case."""

from __future__ import annotations

from collections.abc import Iterator

from ...case.case import Display
from ...case.faults import printable
from ...case.file.every_key import settings_of
from ...report.document.tables import shown_of, unit_of
from ...report.sheet.values import Values
from .compare import Comparison

__all__ = ["change_told", "settings_told"]


def settings_told(found: Comparison) -> Iterator[tuple[str, list[str]]]:
    """Each key that differs and its value a run.

    A value is as its user wrote it; a default, or one from a result folder, is in the units of the
    first case.
    """
    display = found.entries[0].case.display
    rows = [{row.key: row for row in settings_of(entry.case)} for entry in found.entries]
    resolved = [Values(entry.case).resolved for entry in found.entries]
    for setting in found.settings:
        told = []
        for entry, every, whole, value in zip(
            found.entries, rows, resolved, setting.values, strict=True
        ):
            row = every.get(setting.name)
            theirs = setting.name in entry.case.written and not whole
            if value is None:
                told.append("-")
            elif row is None or row.kind is None or theirs:
                told.append(printable(str(value)))
            else:
                told.append(row.shown(display))
        yield setting.name, told


def change_told(name: str, change: float, display: Display) -> tuple[float, str]:
    """What an outcome differs by, and its unit: temperatures by K or degF, angles by the near way.

    Parameters
    ----------
    name : of the outcome
    change : in the unit that its name ends in
    display : units of the first case
    """
    if name.endswith("_C"):
        name = f"{name.removesuffix('_C')}_K"
    if name.endswith("_deg"):
        return (change + 180.0) % 360.0 - 180.0, "deg"
    return shown_of(name, change, display), unit_of(name, display)[0]
