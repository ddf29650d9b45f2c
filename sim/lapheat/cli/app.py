# ruff: noqa: D301 - a real \b, not a backslash, keeps the lines under it as they are in the help
"""The commands themselves; what computes is imported inside them, so that `--help` is quick."""

from __future__ import annotations

import shlex
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from ..case.faults import printable
from .study.commands import calibrate, explain, find, risk, sequences, window
from .terminal.exits import VERDICT, ending
from .terminal.options import (
    CaseFile,
    Debug,
    Detail,
    Set,
    mesh_option,
    out_option,
    verdict_option,
)

__all__ = ["app"]

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)


class March(StrEnum):
    """The two marches."""

    COMPILED = "compiled"
    FIPY = "fipy"


def _version(wanted: bool) -> None:
    if wanted:
        from ..version import __version__

        print(f"lapheat {__version__}")
        raise typer.Exit


@app.callback()
def lapheat(
    version: Annotated[
        bool,
        typer.Option("--version", callback=_version, is_eager=True, help="Show it and exit."),
    ] = False,
) -> None:
    """Will the base stay solid, will the filler flow? For an arc-brazed tube-to-flange joint.

    \b
    Start with:
      lapheat new stub.toml        a commented case to edit
      lapheat check stub.toml      read it back, no run
      lapheat run stub.toml        the answer, with pictures

    Exit status: 0 computed, whatever the verdict; 1 with --fail-on-verdict when the base melts
    or the filler does not flow, and of calibrate when it does not fit; 2 input refused; 3 the
    computation failed; 130 interrupted.
    """


@app.command()
def new(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="Where to write it.")],
    debug: Debug = False,
) -> None:
    """Write a commented starter case. An existing file is never overwritten.

    \b
    Example:
      lapheat new stub.toml
    """
    with ending(debug):
        from ..report.folder import default_folder
        from .new import write_starter

        write_starter(file)
        name, out = printable(str(file)), printable(str(default_folder(file)))
        print(f"{name} written; next: lapheat check {shlex.quote(name)}")
        print(f"(lapheat run replaces an earlier result in {out})")


@app.command()
def check(case: CaseFile, set_: Set = None, detail: Detail = None, debug: Debug = False) -> None:
    """Read a case and show it resolved, with mesh, steps, stages and time. Nothing is run.

    \b
    Examples:
      lapheat check stub.toml
      lapheat check stub.toml --set "travel.pause=30 s" --detail fine
    """
    with ending(debug):
        from ..case.file import read_case
        from ..march.expected import expected_of, seconds_of, stages_of
        from ..problem.setup import problem_of
        from .check import table_of
        from .terminal.screen import show

        read = read_case(case, set_ or (), detail)
        limit = problem_of(read).explicit_limit
        times = stages_of(read, limit), seconds_of(read, limit)
        show(table_of(read, expected_of(read), *times))


@app.command()
def run(
    case: CaseFile,
    out: Annotated[
        Path | None,
        out_option("Result folder; an earlier result is replaced. CASE-NAME.out beside the case."),
    ] = None,
    set_: Set = None,
    detail: Detail = None,
    march: Annotated[March, typer.Option(help="Which march computes it.")] = March.COMPILED,
    threads: Annotated[
        int | None,
        typer.Option(metavar="N", min=1, help="Threads of the compiled march; all by default."),
    ] = None,
    converge: Annotated[
        bool,
        typer.Option(
            "--converge",
            help="Run coarse, standard and fine: outcomes with their numerical uncertainty.",
        ),
    ] = False,
    hours: Annotated[
        float,
        typer.Option(metavar="H", min=0.0, help="Refuse a run that takes longer on one core."),
    ] = 2.0,
    checkpoint: Annotated[
        str | None,
        typer.Option(
            metavar="EVERY",
            help='Keep the state of the run so often, as in "5 min"; Ctrl-C keeps it once more.',
        ),
    ] = None,
    resume: Annotated[
        bool,
        typer.Option(
            "--resume",
            help="Go on from the state kept by --checkpoint, and with --explain from its finished "
            "runs; resume only states of your own.",
        ),
    ] = False,
    film: Annotated[
        bool,
        typer.Option(
            "--film",
            help="Write a film too: surfaces and section through time, as MP4 (with the package "
            "imageio-ffmpeg) or GIF.",
        ),
    ] = False,
    fields: Annotated[
        bool,
        typer.Option(
            "--fields",
            help="Write the 3-D temperature through time and its peak too, as VTK and NetCDF.",
        ),
    ] = False,
    levers: Annotated[
        bool,
        typer.Option("--explain", help="Explain it first: the report then says what to change."),
    ] = False,
    fail_on_verdict: Annotated[
        bool,
        verdict_option(
            "Exit 1 when the base melts, the filler does not flow, or --converge finds it too "
            "close to call."
        ),
    ] = False,
    debug: Debug = False,
) -> None:
    """Run a case: verdict, outcomes.json, case.toml, probes.csv and figures.

    \b
    Examples:
      lapheat run stub.toml
      lapheat run stub.toml --detail coarse --out first-look
      lapheat run stub.toml --set "arc.current=80 A" --set "travel.pause=30 s"
      lapheat run stub.toml --converge
      lapheat run stub.toml --explain
      lapheat run stub.toml --detail fine --checkpoint "5 min"
    """
    with ending(debug) as left:
        from .run import carry_out

        changes = tuple(set_ or ())

        def explained() -> None:
            from ..study.runs import HOURS
            from .study import explain
            from .study.frame import Study

            longest = max(hours, HOURS)
            explain.carry_out(
                Study("explain", case, changes, None, None, None, None, resume, left, longest)
            )

        keep = tuple(name for name, on in (("film", film), ("fields", fields)) if on)
        asked = march.value, threads, converge, hours, keep, checkpoint, resume
        first = explained if levers else None
        good = carry_out(case, out, changes, detail, *asked, left, first)
        if fail_on_verdict and not good:
            raise typer.Exit(VERDICT)


@app.command()
def compare(
    given: Annotated[
        list[Path],
        typer.Argument(metavar="A B ...", help="Case files, which are run, and result folders."),
    ],
    out: Annotated[
        Path | None, out_option("Result folder. A.compare beside the first by default.")
    ] = None,
    detail: Annotated[str | None, mesh_option("Mesh of the case files; their own by default.")] = (
        None
    ),
    converge: Annotated[
        bool,
        typer.Option(
            "--converge",
            help="Run case files coarse, standard and fine: differences with their uncertainty.",
        ),
    ] = False,
    fail_on_verdict: Annotated[bool, verdict_option("Exit 1 when none of them works.")] = False,
    debug: Debug = False,
) -> None:
    """Compare runs: what differs in the cases and in every outcome, and which is better.

    \b
    Examples:
      lapheat compare stub.toml hotter.toml
      lapheat compare stub.out hotter.out slower.out --out all-three
    """
    with ending(debug) as left:
        from .compare import carry_out

        if not carry_out(given, out, detail, converge, left) and fail_on_verdict:
            raise typer.Exit(VERDICT)


for command in (find, explain, window, sequences, risk, calibrate):
    app.command()(command)


@app.command()
def page(
    data: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Where its runs are kept; the user's data by default."),
    ] = None,
    host: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Where it listens; this machine by default.")
    ] = "127.0.0.1",
    port: Annotated[
        int | None, typer.Option(metavar="N", min=1, max=65535, help="A free one by default.")
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    debug: Debug = False,
) -> None:
    """Serve the whole job as a page in the browser, on this machine, until Ctrl-C.

    \b
    Example:
      lapheat page
    """
    with ending(debug):
        from .page import carry_out

        carry_out(data, host, port, browser)


@app.command()
def schema(debug: Debug = False) -> None:
    """Print the JSON schema of a case file, for editors that check while you type.

    \b
    Example:
      lapheat schema > case.schema.json
    """
    with ending(debug):
        import json

        from ..case.file import case_schema

        print(json.dumps(case_schema(), indent=2))
