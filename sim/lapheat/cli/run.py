"""`lapheat run`: read, march, write, tell."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

from rich.text import Text

from ..case.faults import printable
from ..case.file import CaseError, read_case
from ..march.expected import expected_of
from ..report.fields import check_vtk
from ..report.folder import check_folder, default_folder
from .terminal.exits import Left
from .terminal.options import set_again
from .terminal.progress import metered
from .terminal.screen import show

if TYPE_CHECKING:
    from ..api import Result
    from ..case.case import Case

__all__ = ["carry_out"]


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
    left: Left,
) -> bool:
    """Run a case and write its results; return whether the verdict is good.

    Parameters
    ----------
    file, out, changes, detail, march, threads, hours : as on the command line
    meshes : compute it on all three
    keep : as for `simulate`; on three meshes that of the fine one
    left : kept up to date with what an early end would leave behind

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
    if "fields" in keep:
        check_vtk()
    case = read_case(file, changes, "fine" if meshes else detail)
    folder = check_folder(default_folder(file) if out is None else out)
    if (folder / "outcomes.json").exists():
        left.words = f"nothing was written; the earlier result in {folder} is untouched"
    with metered(case, expected_of(case).total) as meter:
        from .. import api  # after the bar is up: numba takes a second

        def computed(case: Case, shorter: float) -> Result:
            steps = "half steps, " if shorter > 1.0 else ""
            meter.start(f"{case.detail} mesh, {steps}" if meshes else "")
            kept = keep if not meshes or case.detail == "fine" else ()
            return api.simulate(case, march, threads, meter, shorter, keep=kept, hours=hours)

        result = api.converge(case, computed) if meshes else computed(case, 1.0)
        meter.say("drawing")
        files = result.save(folder, meter.count)
    left.words = f"the results are whole, in {folder}"
    from ..report.studied import levers_of
    from ..report.terminal import report_of

    show(report_of(result.history, result.outcomes, files, result.convergence))
    verdict = result.outcomes.verdict
    good = verdict.base_stays_solid and verdict.filler_flows
    if not good and levers_of(result.history.case).missing:
        told = " ".join(["lapheat explain", shlex.quote(str(file)), *set_again(changes)])
        show(Text(f"\nWhat to change: {printable(told)}"))
    return good
