# ruff: noqa: D301 - a real \b, not a backslash, keeps the lines under it as they are in the help
"""The commands `risk` and `calibrate`; what computes is imported inside them."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ..terminal.exits import ending
from ..terminal.options import CaseFile, ClusterAddress, Debug, Resume, Set, Workers

__all__ = ["calibrate", "risk"]


def risk(
    case: CaseFile,
    samples: Annotated[
        int, typer.Option(metavar="N", min=16, max=65536, help="Runs at most; 256 by default.")
    ] = 256,
    seed: Annotated[
        int,
        typer.Option(metavar="N", min=0, help="Of the samples: the same seed, the same result."),
    ] = 0,
    within: Annotated[
        float,
        typer.Option(
            metavar="SHARE",
            min=0.0,
            max=0.5,
            help="Stop early once both chances are known to plus or minus this, 0.02 by default, "
            "and what drives them is clear; 0 never stops early.",
        ),
    ] = 0.02,
    workers: Workers = None,
    cluster: ClusterAddress = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Result folder. CASE-NAME.risk beside the case."),
    ] = None,
    resume: Resume = False,
    set_: Set = None,
    detail: Annotated[
        str | None,
        typer.Option(metavar="coarse|standard|fine", help="Mesh of the runs; coarse by default."),
    ] = None,
    debug: Debug = False,
) -> None:
    """Find the chance of a melted base and of a cold joint on a real bench, and what drives them.

    Current, efficiency, spot, speed, aim, wall, clearance, conductivity and emissivity vary as
    [scatter] in the case says.

    \b
    Examples:
      lapheat risk stub.toml
      lapheat risk stub.toml --samples 1024 --set "scatter.current=3 A" --set "scatter.wall=5 %"
    """
    with ending(debug) as left:
        from .risk import carry_out

        carry_out(
            case,
            samples,
            seed,
            within,
            tuple(set_ or ()),
            detail,
            out,
            workers,
            cluster,
            resume,
            left,
        )


def calibrate(
    case: CaseFile,
    measured: Annotated[
        Path,
        typer.Argument(
            metavar="MEASURED.csv",
            help="Thermocouples: time_s and one column a probe, such as top_C. Or trials: "
            "current_A with melted, wet or both, yes or no.",
        ),
    ],
    fit: Annotated[
        str | None,
        typer.Option(
            metavar="NAME,NAME",
            help="Of efficiency, spot, convection, bore_convection, clearance (of the lap) and "
            "emissivity (a factor). efficiency,spot by default; for trials efficiency.",
        ),
    ] = None,
    bounds: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=LOW:HIGH", help="Where to look; may be repeated."),
    ] = None,
    clock: Annotated[
        bool, typer.Option("--clock", help="The record may have begun before or after the arc.")
    ] = False,
    scatter: Annotated[
        str,
        typer.Option(
            metavar="KELVIN", help="Of trials: how much peaks differ from one to the next."
        ),
    ] = "40 K",
    workers: Workers = None,
    cluster: ClusterAddress = None,
    out: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Result folder. CASE-NAME.calibration beside the case."),
    ] = None,
    resume: Resume = False,
    set_: Set = None,
    detail: Annotated[
        str | None,
        typer.Option(metavar="coarse|standard|fine", help="Mesh of the fit; coarse by default."),
    ] = None,
    debug: Debug = False,
) -> None:
    """Fit what is uncertain to what was measured, and write the case with the fitted values.

    \b
    Examples:
      lapheat calibrate bead.toml bead.csv
      lapheat calibrate bead.toml bead.csv --fit efficiency,spot,emissivity --clock
      lapheat calibrate stub.toml trials.csv --scatter "30 K"
    """
    with ending(debug) as left:
        from .calibrate import carry_out

        carry_out(
            case,
            measured,
            fit,
            bounds or (),
            clock,
            scatter,
            tuple(set_ or ()),
            detail,
            out,
            workers,
            cluster,
            resume,
            left,
        )
