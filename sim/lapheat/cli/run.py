"""`lapheat run`: read, march, write, tell."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

from ..case.faults import printable
from ..case.file import CaseError, read_case
from ..case.units import TIME, UnitError, read_quantity
from ..march.errors import MarchError
from ..march.expected import expected_of, refuse_long
from ..problem.setup import problem_of
from ..report.checkpoint import Checkpoint, checkpoint_of
from ..report.fields import check_vtk
from ..report.folder import ResultError, check_folder, default_folder, write_unfinished
from .terminal.exits import Left
from .terminal.options import set_again
from .terminal.progress import metered
from .terminal.screen import show
from .terminal.sweep import say

if TYPE_CHECKING:
    from ..api import Result
    from ..case.case import Case

__all__ = ["carry_out"]

EVERY = "5 min"  # between two states of a run that is resumed without a word on it


def carry_out(
    file: Path,
    out: Path | None,
    changes: tuple[str, ...],
    detail: str | None,
    march: str,
    threads: int | None,
    meshes: bool,
    hours: float,
    keep: tuple[str, ...],
    every: str | None,
    resume: bool,
    left: Left,
    before: Callable[[], None] | None = None,
) -> bool:
    """Run a case and write its results; return whether the verdict is good.

    Parameters
    ----------
    file, out, changes, detail, march, threads, hours : as on the command line
    meshes : compute it on all three
    keep : as for `simulate`; on three meshes that of the fine one
    every, resume : as on the command line, of a checkpoint
    left : kept up to date with what an early end would leave behind
    before : carried out once all that can be refused has been checked

    Raises
    ------
    CaseError
        The case or the folder is refused.
    MarchError, ResultError
        The computation failed, or its results could not be written.
    """
    if meshes and detail is not None:
        allowed = "nothing beside --converge, which runs coarse, standard and fine"
        raise CaseError.one("", "--detail", detail, allowed)
    kept_every = _every(every, resume, meshes, march, keep, before is not None)
    if "fields" in keep:
        check_vtk()
    case = read_case(file, changes, "fine" if meshes else detail)
    folder = check_folder(default_folder(file) if out is None else out)
    if (folder / "outcomes.json").exists():
        left.words = f"nothing was written; the earlier result in {folder} is untouched"
    keeper = None
    if kept_every is not None:
        keeper = Checkpoint(checkpoint_of(folder), kept_every, case, resume)
        if resume and keeper.begin is None:
            say(f"nothing is kept in {keeper.path}: the run begins anew")
    if before is not None:
        refuse_long(case, problem_of(case).explicit_limit, hours)
        of_the_run = left.words
        before()
        left.words = f"{left.words}; of the run {of_the_run}"
    with (
        metered(case, expected_of(case).total) as meter,
        _kept(keeper, folder, left),
    ):
        from .. import api  # after the bar is up: numba takes a second

        def computed(case: Case, shorter: float) -> Result:
            steps = "half steps, " if shorter > 1.0 else ""
            meter.start(f"{case.detail} mesh, {steps}" if meshes else "")
            kept = keep if not meshes or case.detail == "fine" else ()
            with keeper or nullcontext():
                return api.simulate(
                    case, march, threads, meter, shorter, keep=kept, hours=hours, keeper=keeper
                )

        result = api.converge(case, computed) if meshes else computed(case, 1.0)
        meter.say("drawing")
        files = result.save(folder, meter.count)
    left.words = f"the results are whole, in {folder}"
    if keeper is not None:
        keeper.remove()
    from ..report.studied import levers_of
    from ..report.terminal import report_of

    show(report_of(result.history, result.outcomes, files, result.convergence))
    verdict = result.outcomes.verdict
    good = verdict.base_stays_solid and verdict.filler_flows
    if not good and levers_of(result.history.case).missing:
        told = " ".join(["lapheat explain", shlex.quote(str(file)), *set_again(changes)])
        show(Text(f"\nWhat to change: {printable(told)}"))
    return good


def _every(
    every: str | None,
    resume: bool,
    meshes: bool,
    march: str,
    keep: tuple[str, ...],
    explained: bool,
) -> float | None:
    """Time between two states that a run keeps [s]; None to keep none.

    A run that is `explained` first and cannot be kept still resumes its explanation.
    """
    if every is None and not resume:
        return None
    option, given = ("--resume", "") if every is None else ("--checkpoint", every)
    beside = [
        *(f"--{name}" for name in ("film", "fields") if name in keep),
        *(["--converge"] if meshes else []),
        *(["--march fipy"] if march != "compiled" else []),
    ]
    if beside and explained and every is None:
        return None
    if beside:
        allowed = "one run of the compiled march, without --film, --fields and --converge"
        raise CaseError.one("", option, f"{given} beside {' and '.join(beside)}".strip(), allowed)
    try:
        seconds = read_quantity(every or EVERY, TIME)
    except UnitError as error:
        raise CaseError.one("", option, given, f'a time such as "{EVERY}"', str(error)) from error
    if seconds < 0.0:
        raise CaseError.one("", option, given, "a time of 0 s or more")
    return seconds


@contextmanager
def _kept(keeper: Checkpoint | None, folder: Path, left: Left) -> Iterator[None]:
    """Say what an early end leaves of a run: its kept state, and of a failed one what it had.

    Raises
    ------
    KeyboardInterrupt, MarchError
        As they came.
    """
    try:
        yield
    except KeyboardInterrupt:
        if keeper is not None and keeper.path.exists():
            left.words = f"the state of the run is in {keeper.path}; --resume goes on from it"
        raise
    except MarchError as error:
        if error.so_far is not None:
            try:
                where = write_unfinished(error.so_far, folder, str(error))
                left.words = f"what was computed before is in {where}"
            except (CaseError, ResultError) as trouble:
                left.words = f"{left.words}, nor what was computed before: {trouble}"
        raise
