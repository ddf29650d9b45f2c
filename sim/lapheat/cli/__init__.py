"""The command line: `lapheat new`, `check`, `run`, six studies, `schema`."""

from __future__ import annotations

import re
import sys

__all__ = ["main"]

OPTIONS = ("--set", "--vary", "--bounds", "--free")
# as they are mostly written; the whole table takes half a second to load
UNITS = {
    *("A", "V", "W", "mm", "cm", "m", "um", "in", "inch", "ft", "s", "min", "h", "K"),
    *("degC", "degF", "°C", "°F", "deg", "rad", "%", "mm/s", "cm/min", "in/min", "m/s"),
}


def _torn(arguments: list[str]) -> str:
    """How a value that the shell tore at its blanks should have been written; "" if none was."""
    for i, option in enumerate(arguments[:-2]):
        words = [arguments[i + 1]]
        if option not in OPTIONS or not re.fullmatch(r"[\w.\[\]]+=[+-]?[\d.]+", words[0]):
            continue
        for word in arguments[i + 2 :]:
            if word.split(":")[0] not in UNITS:
                break
            words.append(word)
        if len(words) > 1:
            return f'{option} "{" ".join(words)}"'
    return ""


def main() -> None:
    """Run the command line and leave with its exit status."""
    try:
        arguments = sys.argv[1:]
        # FiPy looks for flags of its own in sys.argv when it is imported.
        sys.argv = sys.argv[:1]
        from .app import app

        app(arguments, prog_name="lapheat")
    except SystemExit as left:
        if left.code == 2 and (whole := _torn(arguments)):
            print(f"a value with a unit needs quotes: {whole}", file=sys.stderr)
        raise
    except KeyboardInterrupt:
        print("interrupted: nothing was written", file=sys.stderr)
        sys.exit(130)
