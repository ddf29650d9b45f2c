"""What a study's function returns: its finding, as a page, as rows and as the command's files."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from ..report.notebook import Cell, frame_of, html_of

if TYPE_CHECKING:
    import pandas

__all__ = ["Answer", "flat"]

Found = TypeVar("Found")


@dataclass(frozen=True, repr=False)
class Answer(Generic[Found]):
    """What a study found.

    Attributes
    ----------
    found : in the study's own type, with its arrays; each names its shapes and units
    name : of the study
    title : of the case
    told : content of the command's JSON file
    rows : its main table, a dict a row; the unit is the suffix of the name, [degC] and SI
    write : writes the command's result folder
    """

    found: Found
    name: str
    title: str
    told: Mapping[str, Any]
    rows: tuple[Mapping[str, Cell], ...]
    write: Callable[[Path], tuple[Path, ...]] = field(compare=False)

    @property
    def why(self) -> str:
        """The answer in one sentence; "" where the study gives numbers alone."""
        return str(self.told.get("why") or "")

    def to_frame(self) -> pandas.DataFrame:
        """Rows as a data frame.

        Raises
        ------
        ImportError
            The package pandas is not installed.
        """
        return frame_of(self.rows)

    def save(self, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
        """Write the result folder, as the command does; its files in the order written.

        Raises
        ------
        CaseError
            The folder must not be used: see `check_folder`.
        ResultError
            Something could not be written.
        """
        return self.write(Path(folder))

    def __repr__(self) -> str:
        """Name of the study, the case, the answer."""
        return f"<{self.name} of {self.title!r}: {self.why or f'{len(self.rows)} rows'}>"

    def _repr_html_(self) -> str:
        return html_of(f"{self.title}: {self.name}", [*self.lines()], self.rows)

    def lines(self) -> Iterator[str]:
        """The sentence, findings, chances and notes, where there are any."""
        if self.why:
            yield f"{self.why.rstrip('.')}."
        yield from (f"{finding['says']}." for finding in self.told.get("findings", ()))
        for name, value in self.told.items():
            if isinstance(value, Mapping) and {"chance", "low", "high"} <= value.keys():
                low, high = (f"{100 * value[end]:.1f}" for end in ("low", "high"))
                told = f"{100 * value['chance']:.1f} % ({low} to {high} %)"
                yield f"{name.replace('_', ' ')}: {told}"
        yield from map(str, self.told.get("notes", ()))


def flat(row: Mapping[str, Any], head: str = "") -> dict[str, Cell]:
    """Row without tables in it: "confirmed.total_s" for `total_s` of `confirmed`; no lists."""
    told: dict[str, Cell] = {}
    for name, value in row.items():
        if isinstance(value, Mapping):
            told |= flat(value, f"{head}{name}.")
        elif not isinstance(value, list | tuple):
            told[f"{head}{name}"] = value
    return told
