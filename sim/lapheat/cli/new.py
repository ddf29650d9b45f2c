"""`lapheat new`: the starter case, never over another file."""

from __future__ import annotations

from pathlib import Path

from ..case.faults import printable
from ..case.file import CaseError, Fault, starter_text

__all__ = ["write_starter"]


def write_starter(file: Path) -> None:
    """Write the starter case to a new file.

    Raises
    ------
    CaseError
        It exists, or the system does not let it be made.
    """

    def refuse(given: str, hint: str = "") -> CaseError:
        return CaseError([Fault("", printable(str(file)), given, "a file that is not there", hint)])

    try:
        with file.open("x", encoding="utf-8") as text:
            try:
                text.write(starter_text())
                text.flush()  # a full disk shows here, not once it is closed
            except BaseException:
                file.unlink(missing_ok=True)
                raise
    except FileExistsError:
        given = "a folder" if file.is_dir() else "a file that is already there"
        raise refuse(given, "name another; `lapheat new` never overwrites") from None
    except FileNotFoundError:
        raise refuse(f"a file in {file.parent}, which is not there", "make that folder") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise refuse(f"a file that cannot be made: {reason}") from error
