"""Values as the sheet says them: as the user wrote them, else in the user's units, starred."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import groupby

from ...case.case import Case
from ...case.faults import printable
from ...case.file.every_key import Setting, settings_of
from ...case.keys.schema import field_at
from ...case.torch import SPOT_BAND
from ...case.units import UnitError, read_quantity
from ...constants import ZERO_CELSIUS
from .page import BOUND

__all__ = ["STAR", "Values", "counts", "whole"]

STAR = "*"  # behind a value that the case file does not give
LONGEST = 30  # characters of a name or a value


class Values:
    """Says the values of a case and remembers which.

    A value is as its user wrote it; a default is in the user's units, with a star. A case that
    was made without a file has no stars.
    """

    def __init__(self, case: Case) -> None:
        self._case = case
        self._rows = {row.key: row for row in settings_of(case)}
        self._said = {"title", "joint", "numerics.detail"}
        self._inches = case.display.length == "in"

    def __contains__(self, key: str) -> bool:
        """Whether the key has a value."""
        return key in self._rows and self._rows[key].value is not None

    def __call__(self, key: str) -> str:
        """Say the value of a key.

        Raises
        ------
        KeyError
            The case has no such key.
        """
        self._said.add(key)
        row = self._rows[key]
        if key in self._case.written:
            text = self._case.written[key]
            if isinstance(row.value, tuple) and row.kind is not None:  # ["24 A", "104 A"]
                text = " to ".join(re.findall(r"[^\[\],\"' ][^\[\],\"']*", text))
            return whole(_short(text.strip('"')))
        told = _short(row.shown(self._case.display, by_hand=True))
        return whole(f"{told}{STAR if self._case.written else ''}")

    @property
    def resolved(self) -> bool:
        """Whether the file gives every key, as one that Lapheat wrote does."""
        arc = self._case.arc
        left = {"arc.voltage", *(f"arc.{name}" for name in arc.derived)}  # its comments
        missing = {key for key in self._rows if key in self} - set(self._case.written) - left
        return bool(self._case.written) and not missing

    def long(self, metres: float) -> str:
        """Length [m] in the user's unit."""
        return whole(f"{metres / 0.0254:.3g} in" if self._inches else f"{1e3 * metres:.3g} mm")

    def hot(self, celsius: float) -> str:
        """Temperature [degC] in the user's unit."""
        if self._case.display.temperature == "degF":
            return whole(f"{celsius * 1.8 + 32.0:.0f} degF")
        return whole(f"{celsius:.0f} degC")

    def kelvin(self, kelvin: float) -> str:
        """Temperature [K] in the user's unit."""
        return self.hot(kelvin - ZERO_CELSIUS)

    def keys(self, start: str) -> list[str]:
        """Keys that begin so and have a value."""
        return [key for key in self._rows if key.startswith(start) and key in self]

    def rest(self) -> Iterator[str]:
        """What the user set and nothing has said yet, but for what is the default anyway."""
        left = (row for row in self._rows.values() if self._left(row))
        for table, rows in groupby(left, key=lambda row: row.key.rpartition(".")[0]):
            told = ", ".join(f"{row.key.rpartition('.')[2]} {self(row.key)}" for row in rows)
            yield f"{table}: {told}"
        own = sorted({key.split(".")[1] for key in self._case.written if key[:7] == "alloys."})
        if own:
            yield f"alloys of the case's own, in case.toml: {', '.join(map(_short, own))}"

    def _left(self, row: Setting) -> bool:
        known = row.key in self._case.written and row.key not in self._said
        if row.key == "scatter.spot" and "spot" in self._case.arc.derived:  # its default follows
            return known and row.value != SPOT_BAND
        return known and not _default(row)


def _short(text: str) -> str:
    text = printable(text)
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 1].rstrip()}…"


def whole(text: str) -> str:
    """Keep a number and its unit on one line."""
    return re.sub(r"(?<=\d) (?=[^\W\d])", BOUND, text)


def _default(row: Setting) -> bool:
    """Whether the key's table gives this value by itself."""
    field = field_at(row.key)
    if field is None:
        return False
    given = field.get_default()
    ends = given if isinstance(given, list | tuple) else (given,)
    values = row.value if isinstance(row.value, tuple) else (row.value,)
    if row.kind is None:
        return tuple(ends) == values
    try:
        return tuple(float(read_quantity(end, row.kind)) for end in ends) == values
    except UnitError:  # no default of its own
        return False


def counts(seconds: float) -> str:
    """Seconds as a person counts them, one count a second: "4 counts"."""
    near = round(seconds)
    if near and abs(seconds - near) <= 0.1:
        return f"{near} count{'s' if near > 1 else ''}"
    return f"{seconds:.1f} counts"
