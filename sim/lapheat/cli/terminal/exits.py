"""How a command ends: exit statuses, messages, no traceback."""

from __future__ import annotations

import os
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

import typer

__all__ = ["DONE", "FAILED", "INTERRUPTED", "REFUSED", "VERDICT", "Left", "ending"]

DONE, VERDICT, REFUSED, FAILED, INTERRUPTED = 0, 1, 2, 3, 130


@dataclass
class Left:
    """What a command that ends early leaves behind, in words; kept up to date by the command."""

    words: str = "nothing was written"


@contextmanager
def ending(debug: bool) -> Iterator[Left]:
    """Turn whatever goes wrong inside into a message on stderr and an exit status.

    Parameters
    ----------
    debug : show the traceback too

    Raises
    ------
    typer.Exit
        With the status: 2 for refused input, 3 for a failed computation, 130 for Ctrl-C.
    """
    from ...case.faults import CaseError, printable_lines

    left = Left()
    status = FAILED
    try:
        yield left
        sys.stdout.flush()
        return
    except typer.Exit:
        raise
    except BrokenPipeError:
        # The reader, `head` for one, has seen enough. What is left must not fail at exit either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return
    except KeyboardInterrupt:
        message, status = f"interrupted: {left.words}", INTERRUPTED
    except CaseError as error:
        message, status = str(error), REFUSED
    except Exception as error:
        message = f"{_failure(error)}; {left.words}"
    if debug:
        message = f"{traceback.format_exc()}{message}"
    print(printable_lines(message), file=sys.stderr)
    raise typer.Exit(status)


def _failure(error: Exception) -> str:
    """Say what failed: our own errors in their words, others by name with the way to see more."""
    from ...march.errors import MarchError
    from ...report.folder import ResultError

    if isinstance(error, ResultError):
        return str(error)
    if isinstance(error, MarchError):
        return f"the computation failed: {error}"
    if isinstance(error, MemoryError):
        return "the computation ran out of memory, which a coarser --detail needs less of"
    if isinstance(error, OSError):
        return f"the system refused: {error}"
    return f"the computation failed, {type(error).__name__}: {error}; --debug shows where"
