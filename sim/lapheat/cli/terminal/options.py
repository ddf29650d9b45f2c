"""Options that several commands have, each declared once."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Annotated

import typer

__all__ = [
    "CaseFile",
    "ClusterAddress",
    "Debug",
    "Detail",
    "Hours",
    "Resume",
    "Set",
    "Workers",
    "mesh_option",
    "out_option",
    "set_again",
    "verdict_option",
]

PLAIN = re.compile(r"[^\"$`\\!]*")  # what double quotes keep as it is

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="A case file (TOML).")]
Debug = Annotated[bool, typer.Option("--debug", help="Show the traceback of a failure.")]
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
Hours = Annotated[
    float, typer.Option(metavar="H", min=0.0, help="Refuse a study that would take longer.")
]
Resume = Annotated[
    bool, typer.Option("--resume", help="Go on from the finished runs of an earlier attempt.")
]


def mesh_option(told: str) -> typer.models.OptionInfo:
    """Give the option --detail, `told` in its help."""
    option: typer.models.OptionInfo = typer.Option(
        "--detail", metavar="coarse|standard|fine", help=told
    )
    return option


def out_option(told: str) -> typer.models.OptionInfo:
    """Give the option --out, `told` in its help."""
    option: typer.models.OptionInfo = typer.Option("--out", metavar="DIR", help=told)
    return option


def verdict_option(told: str) -> typer.models.OptionInfo:
    """Give the option --fail-on-verdict, `told` in its help."""
    option: typer.models.OptionInfo = typer.Option("--fail-on-verdict", help=told)
    return option


Detail = Annotated[str | None, mesh_option("Mesh, put over numerics.detail.")]


def set_again(changes: Iterable[str]) -> Iterator[str]:
    """Write changes as options of a command line, in quotes."""
    for change in changes:
        yield f'--set "{change}"' if PLAIN.fullmatch(change) else f"--set {shlex.quote(change)}"
