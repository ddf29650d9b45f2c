"""The command line: `lapheat new`, `check`, `run`, `window`, `risk`, `calibrate`, `schema`."""

from __future__ import annotations

import sys

__all__ = ["main"]


def main() -> None:
    """Run the command line and leave with its exit status."""
    try:
        arguments = sys.argv[1:]
        # FiPy looks for flags of its own in sys.argv when it is imported.
        sys.argv = sys.argv[:1]
        from .app import app

        app(arguments, prog_name="lapheat")
    except KeyboardInterrupt:
        print("interrupted: nothing was written", file=sys.stderr)
        sys.exit(130)
