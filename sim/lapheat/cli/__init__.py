"""The command line: `lapheat new`, `check`, `run`, `compare`, six studies, `page`, `schema`."""

from __future__ import annotations

import os
import re
import sys
from typing import Any

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


def _status(arguments: list[str]) -> int:
    """Run the command; a usage error is told here, as it says what was typed."""
    from ..case.faults import CaseError, printable_lines
    from .app import app

    try:
        return int(app(arguments, prog_name="lapheat", standalone_mode=False) or 0)
    except Exception as error:
        usage: Any = error
        if not hasattr(usage, "show"):
            raise
        if not arguments:  # the help
            usage.show()
            return int(usage.exit_code)
        from .terminal.usage import usage_fault

        told = CaseError([usage_fault(error, arguments, app)])
        print(printable_lines(str(told)), file=sys.stderr)
        return int(usage.exit_code)


def _lost(trouble: sys.UnraisableHookArgs) -> None:
    """Give an interrupt again that Python dropped: a compiler's callbacks may raise nothing."""
    if isinstance(trouble.exc_value, KeyboardInterrupt):
        from _thread import interrupt_main
        from threading import Timer

        again = Timer(0.05, interrupt_main)  # when the callback is over
        again.daemon = True
        again.start()
    else:
        sys.__unraisablehook__(trouble)


def main() -> None:
    """Run the command line and leave with its exit status."""
    before, sys.unraisablehook = sys.unraisablehook, _lost
    # closed by who started it: what is said is lost, what is written is not
    sys.stdout = sys.stdout or open(os.devnull, "w")  # noqa: SIM115 - to the end
    sys.stderr = sys.stderr or open(os.devnull, "w")  # noqa: SIM115 - to the end
    try:
        arguments = sys.argv[1:]
        # FiPy looks for flags of its own in sys.argv when it is imported.
        sys.argv = sys.argv[:1]
        status = _status(arguments)
        if status == 2 and (whole := _torn(arguments)):
            from ..case.faults import printable

            print(f"a value with a unit needs quotes: {printable(whole)}", file=sys.stderr)
        sys.exit(status)
    except KeyboardInterrupt:
        print("interrupted: nothing was written", file=sys.stderr)
        sys.exit(130)
    finally:
        sys.unraisablehook = before
