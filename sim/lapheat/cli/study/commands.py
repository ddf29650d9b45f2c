# ruff: noqa: D301 - a real \b, not a backslash, keeps the lines under it as they are in the help
"""The commands of many runs; what computes is imported inside them, so that `--help` is quick."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from ..terminal.exits import VERDICT
from ..terminal.options import verdict_option
from .frame import Study, study_command

__all__ = ["calibrate", "explain", "find", "risk", "sequences", "window"]


@study_command("find", "Mesh of the search; coarse by default.")
def find(
    study: Study,
    sure: Annotated[
        str,
        typer.Option(metavar="SHARE", help="Chance that a bench succeeds; 90 % by default."),
    ] = "90%",
    free: Annotated[
        str,
        typer.Option(
            metavar="KEY,KEY",
            help="Keys to choose, each as KEY or as KEY=FROM:TO. Left out: current, torch "
            "angle, aim, hold, speed, segment, pause, dwell and order of segments. [bench] has the "
            "ranges of current, speed and segment.",
        ),
    ] = "",
    fix: Annotated[
        str, typer.Option(metavar="KEY,KEY", help="Keys that stay as the case has them.")
    ] = "",
    seed: Annotated[
        int,
        typer.Option(metavar="N", min=0, help="Of the search: the same seed, the same result."),
    ] = 0,
    fail_on_verdict: Annotated[bool, verdict_option("Exit 1 when nothing is sure enough.")] = False,
) -> None:
    """Find settings for the joint that survive the scatter of a real bench, the quickest first.

    A bench succeeds if the base stays below its solidus and the filler flows. [bench] in the case
    says what may be chosen, [scatter] how far a bench strays.

    \b
    Examples:
      lapheat find stub.toml
      lapheat find stub.toml --sure 95% --fix arc.aim
      lapheat find stub.toml --free "arc.current=40 A:70 A,arc.aim,travel.speed"
    """
    from .find import carry_out

    if not carry_out(study, sure, free, fix, seed) and fail_on_verdict:
        raise typer.Exit(VERDICT)


@study_command("window", "Mesh of the map; coarse by default.")
def window(
    study: Study,
    vary: Annotated[
        list[str] | None,
        typer.Option(
            metavar="KEY=FROM:TO:COUNT",
            help="An axis; give one or more. Left out: travel.segment and travel.pause, seven "
            "values each from half to twice the case's own.",
        ),
    ] = None,
    free: Annotated[
        str,
        typer.Option(
            metavar="KEY,KEY",
            help="Keys chosen anew at each point, from half to twice the case's own (temperatures: "
            "150 K to either side) or, as KEY=FROM:TO, from a range.",
        ),
    ] = "",
    sure: Annotated[
        str,
        typer.Option(
            metavar="SHARE",
            help="Map the chance that a bench succeeds too, and pick where it is at least this, "
            "such as 90%.",
        ),
    ] = "",
    fail_on_verdict: Annotated[
        bool, verdict_option("Exit 1 when no point works, or with --sure none is sure enough.")
    ] = False,
) -> None:
    """Map where the base stays solid and the filler flows, and pick the quickest that works.

    The quickest and the safest point are in steps a person can set. Each is run on the case's own
    mesh and on 64 benches that stray as [scatter] says: that gives its chance.

    \b
    Examples:
      lapheat window stub.toml
      lapheat window stub.toml --vary "arc.current=50 A:90 A:7" --vary "travel.pause=5 s:30 s:6"
      lapheat window stub.toml --free arc.current,arc.aim --resume
      lapheat window stub.toml --vary "arc.hold=1250 degC:1350 degC:6" --sure 90%
    """
    from .window import carry_out

    if not carry_out(study, vary or (), free, sure) and fail_on_verdict:
        raise typer.Exit(VERDICT)


@study_command("sequences", "Mesh, put over numerics.detail.")
def sequences(
    study: Study,
    orders: Annotated[
        str,
        typer.Option(
            metavar="LIST",
            help="Orders by name or by segment numbers, such as opposite,[1,4,2,5,3,6]; all named "
            "ones by default.",
        ),
    ] = "",
    equal_interpass: Annotated[
        bool,
        typer.Option(
            "--equal-interpass",
            help="Compare them also without a pause but the wait for travel.resume_below.",
        ),
    ] = False,
    fail_on_verdict: Annotated[bool, verdict_option("Exit 1 when no order works.")] = False,
) -> None:
    """Compare orders of segments: what works first, then even peaks, then the time taken.

    \b
    Examples:
      lapheat sequences stub.toml
      lapheat sequences stub.toml --orders "opposite,[1,6,3,8,5,10,2,7,4,9]" --detail coarse
      lapheat sequences stub.toml --equal-interpass --set "travel.resume_below=160 degC"
    """
    from .sequences import carry_out

    if not carry_out(study, orders, equal_interpass) and fail_on_verdict:
        raise typer.Exit(VERDICT)


@study_command("risk", "Mesh of the runs; coarse by default.")
def risk(
    study: Study,
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
) -> None:
    """Find the chance of a melted base and of a cold joint on a real bench, and what drives them.

    Current, efficiency, spot, speed, aim, wall, clearance, conductivity and emissivity vary as
    [scatter] in the case says. So do the arc length where voltage, efficiency or spot follow from
    it, the hold and lag of a pedal, and the torch's angle where scatter.work_angle is given.

    \b
    Examples:
      lapheat risk stub.toml
      lapheat risk stub.toml --samples 1024 --set "scatter.current=3 A" --set "scatter.wall=5 %"
    """
    from .risk import carry_out

    carry_out(study, samples, seed, within)


@study_command("calibration", "Mesh of the fit; coarse by default.")
def calibrate(
    study: Study,
    measured: Annotated[
        Path,
        typer.Argument(
            metavar="MEASURED.csv",
            help="Thermocouples: time_s and one column a probe, such as top_C. Or beads on a scrap "
            "tube: current_A, speed [mm/s] and widths from edge to edge, melt_, tint_ or crayon_ "
            "with outside_width or bore_width, such as crayon_outside_width [mm] at 343 degC. Or "
            "trials: current_A with melted, wet or both, yes or no.",
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
    reading_error: Annotated[
        str,
        typer.Option(
            metavar="LENGTH",
            help="Of beads: standard deviation of a width by caliper (common practice, no source).",
        ),
    ] = "0.3 mm",
) -> None:
    """Fit what is uncertain to what was measured, and write the case with the fitted values.

    What does not fit leaves no case and ends with status 1. After beads it says which to run next.

    \b
    Examples:
      lapheat calibrate bead.toml bead.csv
      lapheat calibrate bead.toml bead.csv --fit efficiency,spot,emissivity --clock
      lapheat calibrate bead.toml widths.csv --reading-error "0.2 mm"
      lapheat calibrate stub.toml trials.csv --scatter "30 K"
    """
    from .calibrate import carry_out

    if not carry_out(study, measured, fit, bounds or (), clock, scatter, reading_error):
        raise typer.Exit(VERDICT)


@study_command("explain", "Mesh of the search; coarse by default.")
def explain(
    study: Study,
    fail_on_verdict: Annotated[
        bool, verdict_option("Exit 1 when the case fails and nothing tried mends it.")
    ] = False,
) -> None:
    """Say which key mends each finding of a case, which way and by how much.

    Each key that acts is moved by one step to either side. Then the best single change and the
    best pair that hold all limits are sought, and confirmed on the case's own mesh. Of a case
    that works: what leaves more to spare, and what saves time.

    \b
    Examples:
      lapheat explain stub.toml
      lapheat explain stub.toml --set "arc.current=60 A" --detail standard
    """
    from .explain import carry_out

    if not carry_out(study) and fail_on_verdict:
        raise typer.Exit(VERDICT)
