"""How deep a TOML text nests, found without parsing it.

Python's parser calls itself for every bracket, and takes time and memory with the square of a
dotted key's parts: 46 s for 20,000 parts, a file of 40 kB.
"""

from __future__ import annotations

import re

__all__ = ["PARTS", "too_deep"]

BRACKETS = 8  # open at once; an alloy given whole by --set needs 5
PARTS = 8  # of a dotted key; a key of a case file has 4 at most

# Strings and comments whole, so that nothing in them counts; then what nests or parts a key. None
# can fail once begun, so nothing is tried twice; possessive groups are wrong in Python 3.11.2.
_TOKEN = re.compile(
    r'"""(?:[^"\\]|\\.?|"(?!""))*(?:"{3,5}|\Z)'
    r"|'''(?:[^']|'(?!''))*(?:'{3,5}|\Z)"
    r'|"(?:[^"\\\n]|\\[^\n]?)*"?'
    r"|'[^'\n]*'?"
    r"|#[^\n]*"
    r"|[\[\]{}.,=\n]",
    re.DOTALL,
)


def too_deep(text: str) -> tuple[int, str] | None:
    """Line, and what is wrong there, where a text nests deeper than any case; else None."""
    depth = dots = 0
    for token in _TOKEN.finditer(text):
        sign = token[0]
        if sign == ".":
            dots += 1
        elif sign in "[]{},=\n":
            dots = 0
            depth = depth + 1 if sign in "[{" else max(0, depth - 1) if sign in "]}" else depth
        if dots >= PARTS or depth > BRACKETS:
            what = f"a key of more than {PARTS} parts" if dots else f"over {BRACKETS} open brackets"
            return text.count("\n", 0, token.start()) + 1, what
    return None
