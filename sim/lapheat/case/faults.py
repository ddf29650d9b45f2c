"""What is wrong with a case, reported so that a person can correct it."""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from itertools import groupby

__all__ = ["CaseError", "Fault", "did_you_mean", "printable", "printable_lines", "shown"]

_LONGEST = 72
_LONGEST_KEY = 1000  # a path may stand there


@dataclass(frozen=True)
class Fault:
    """One thing wrong.

    Attributes
    ----------
    file : where it is: a path, "--set" or "--detail"; may be empty
    key : dotted key, list entries counted from 1 ("probe[2].height"); "line 3"; or "file"
    given : what was given, as a case file would hold it
    allowed : what is allowed there
    hint : how to correct it; may be empty
    """

    file: str
    key: str
    given: str
    allowed: str
    hint: str = ""

    def __str__(self) -> str:
        lines = [
            f"  {printable(self.key)[:_LONGEST_KEY]}",
            f"    given:   {printable(self.given)}",
            f"    allowed: {printable(self.allowed)}",
        ]
        return "\n".join([*lines, f"    hint:    {printable(self.hint)}"] if self.hint else lines)


class CaseError(Exception):
    """A case that cannot be run, with every fault found in it.

    Attributes
    ----------
    faults : all of them, those of one file together
    """

    def __init__(self, faults: Iterable[Fault]) -> None:
        # A file's faults first, then those of the command line, each in the order found.
        self.faults = tuple(sorted(faults, key=lambda f: (f.file.startswith("--"), f.file)))
        super().__init__(self.faults)

    @classmethod
    def one(cls, file: str, key: str, given: object, allowed: str, hint: str = "") -> CaseError:
        """Error with a single fault; `given` is shown as a case file would hold it."""
        return cls([Fault(file, key, shown(given), allowed, hint)])

    def __str__(self) -> str:
        parts = []
        for file, group in groupby(self.faults, key=lambda fault: fault.file):
            faults = list(group)
            count = "1 fault" if len(faults) == 1 else f"{len(faults)} faults"
            parts += [f"{printable(file)}: {count}" if file else count, *map(str, faults)]
        return "\n".join(parts)


def printable(text: str) -> str:
    """Text that cannot steer a terminal and that every encoding of Unicode can write."""
    if text.isprintable():
        return text
    return "".join(
        c if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Zl", "Zp") else f"\\u{ord(c):04x}"
        for c in text
    )


def printable_lines(text: str) -> str:
    """Text of several lines, each as `printable` makes it."""
    return "\n".join(map(printable, text.split("\n")))


def shown(value: object) -> str:
    """Value as a case file would hold it, on one line, cut when long."""
    if isinstance(value, bool):
        text = "true" if value else "false"
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, int | float):
        text = repr(value) if isinstance(value, float) or abs(value) < 1e300 else "a huge number"
    elif isinstance(value, dict):
        items = ", ".join(f"{key} = {shown(item)}" for key, item in list(value.items())[:9])
        text = f"{{ {items} }}" if items else "{}"
    elif isinstance(value, Sequence):
        text = f"[{', '.join(shown(item) for item in value[:30])}]"
    else:
        text = str(value)
    text = printable(text)
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 4]} ..."


def did_you_mean(given: str, known: Iterable[str]) -> str:
    """Hint naming the nearest of the known names, or nothing."""
    folded = {name.casefold(): name for name in known}
    near = get_close_matches(given.casefold(), list(folded), n=1, cutoff=0.6)
    return f'did you mean "{folded[near[0]]}"?' if near else ""
