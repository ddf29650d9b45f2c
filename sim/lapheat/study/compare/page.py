"""Runs side by side as one HTML file that needs nothing else."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ...case.case import Display
from ...case.faults import printable
from ...case.file import digest_of
from ...report.document import rendered
from ...report.document.tables import SHOWN, Cell, cell_of, plain, unit_of
from ..runs.slacks import LABELS
from .compare import Comparison, Difference
from .told import change_told, settings_told

__all__ = ["compare_html"]

ALL = (
    "Every outcome, named as in outcomes.json but for the unit at its end. Units are those of the "
    "first case, angles are within 0 and 360 degrees."
)


@dataclass(frozen=True)
class Line:
    """An outcome: its name and unit, a value a run, then what each later run differs by."""

    name: str
    unit: str
    values: tuple[Cell, ...]
    changes: tuple[str, ...]


def compare_html(found: Comparison, picture: Path, day: str) -> str:
    """Write a comparison as a page.

    Parameters
    ----------
    found : the runs, compared
    picture : PNG file of their peaks overlaid
    day : on which it is made

    Returns
    -------
    html : one whole file; it asks for nothing from elsewhere
    """
    display = found.entries[0].case.display
    deciding = [row for name in LABELS if (row := found.outcome(name)) is not None]
    return rendered(
        __package__,
        "compare.html.jinja",
        title=printable(" and ".join(entry.name for entry in found.entries)),
        day=day,
        found=found,
        why=printable(found.why),
        notes=[printable(note) for note in found.notes],
        runs=[
            {
                "name": printable(entry.name),
                "works": entry.works,
                "summary": printable(str(entry.told["verdict"].get("summary", ""))),
                "title": printable(entry.case.title),
                "source": printable(entry.source),
                "detail": entry.case.detail,
                "digest": digest_of(entry.case),
            }
            for entry in found.entries
        ],
        names=[printable(entry.name) for entry in found.entries],
        picture=b64encode(picture.read_bytes()).decode(),
        settings=list(settings_told(found)),
        tables=[
            ("Margins", "What decides, each against its limit.",
             [_line(row, LABELS[row.name], display) for row in deciding]),
            ("Outcomes", ALL, [_line(row, plain(row.name), display) for row in found.outcomes]),
        ],
    )  # fmt: skip


def _line(row: Difference, name: str, display: Display) -> Line:
    unit, _ = unit_of(row.name, display)
    values = tuple(cell_of(row.name, value, display) for value in row.values)
    return Line(printable(name), unit, values, tuple(_changes(row, display)))


def _changes(row: Difference, display: Display) -> Iterator[str]:
    """What later runs differ by."""
    rest = zip(row.values[1:], row.changes[1:], row.uncertainties[1:], strict=True)
    for value, change, unsure in rest:
        if value == row.values[0]:
            yield "same"
        elif change is None:
            yield "differs"
        else:
            size, unit = change_told(row.name, change, display)
            doubt = ""
            if unsure is not None:
                doubt = (
                    f" \N{PLUS-MINUS SIGN} {change_told(row.name, unsure, display)[0]:.{SHOWN}g}"
                )
            yield f"{size:+.{SHOWN}g}{doubt} {unit}".rstrip()
