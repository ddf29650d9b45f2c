"""The command line: `lapheat new`, `check`, `run`, `window`, `risk`, `calibrate`, `schema`."""

from __future__ import annotations

import re
import sys

__all__ = ["main"]


def _torn(arguments: list[str]) -> str:
    """How a value that the shell tore at its blank should have been written; "" if none was."""
    for before, number, unit in zip(arguments, arguments[1:], arguments[2:], strict=False):
        option = before in ("--set", "--vary", "--bounds")
        if option and re.fullmatch(r"[\w.\[\]]+=[+-]?[\d.]+", number) and unit[0:1].isalpha():
            return f'{before} "{number} {unit}"'
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
        if left.code == 2 and _torn(arguments):
            print(f"a value with a unit needs quotes: {_torn(arguments)}", file=sys.stderr)
        raise
    except KeyboardInterrupt:
        print("interrupted: nothing was written", file=sys.stderr)
        sys.exit(130)
