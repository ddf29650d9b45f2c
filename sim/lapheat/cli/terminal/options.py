"""Options that several commands have."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["CaseFile", "ClusterAddress", "Debug", "Detail", "Resume", "Set", "Workers"]

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="A case file (TOML).")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of a failure.")]
Detail = Annotated[
    str | None,
    typer.Option(metavar="coarse|standard|fine", help="Mesh, put over numerics.detail."),
]
Set = Annotated[
    list[str] | None,
    typer.Option("--set", metavar="KEY=VALUE", help="Change a key of the case; may be repeated."),
]
Workers = Annotated[
    int | None,
    typer.Option(metavar="N", min=1, help="Processes on this machine; one a core by default."),
]
ClusterAddress = Annotated[
    str | None,
    typer.Option(
        "--cluster",
        metavar="ADDRESS",
        help="Run on a dask cluster: tcp://HOST:8786, its scheduler.",
    ),
]
Resume = Annotated[
    bool, typer.Option("--resume", help="Go on from the finished runs of an earlier attempt.")
]
