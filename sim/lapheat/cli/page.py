"""`lapheat page`: the server of the browser's page, if its packages are installed."""

from __future__ import annotations

from importlib.util import find_spec
from pathlib import Path

from ..case.faults import CaseError

__all__ = ["carry_out"]


def carry_out(data: Path | None, host: str, port: int | None, opened: bool) -> None:
    """Serve until Ctrl-C; arguments as on the command line.

    Raises
    ------
    CaseError
        The extra is not installed, or folder or address cannot be used.
    """
    missing = [name for name in ("starlette", "uvicorn") if find_spec(name) is None]
    if missing:
        hint = "pip install 'lapheat[page]'"
        raise CaseError.one("", "page", f"no {missing[0]}", "starlette and uvicorn", hint)
    from ..page.serve import default_data, serve

    serve(data or default_data(), host, port, opened)
