"""Case to answer in one line: what the commands, sweeps and scripts call."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from .case.case import Case
from .constants import ZERO_CELSIUS
from .history.frames import KEPT
from .history.records import History
from .joint.lines import DETAILS
from .march.expected import LONGEST, refuse_long
from .march.march import Report
from .march.march import march as run_through
from .march.safety.way import Keeper
from .march.state import Stepper
from .outcomes.convergence import Convergence, convergence_of
from .outcomes.from_history import outcomes_of
from .outcomes.outcomes import Outcomes, Verdict
from .outcomes.verdict import judge
from .problem.problem import Problem
from .problem.setup import job_of
from .report.folder import write_results
from .report.notebook import Count, frame_of, html_of, notebook_report

if TYPE_CHECKING:
    import pandas

__all__ = ["MARCHES", "Result", "converge", "simulate"]

MARCHES = ("compiled", "fipy")


@dataclass(frozen=True)
class Result:
    """A case, what happened step by step, and the answer.

    `convergence` is there if the case was computed on three meshes; all else is the fine one's.
    """

    case: Case
    history: History
    outcomes: Outcomes
    convergence: Convergence | None = None

    def __repr__(self) -> str:
        """Title and verdict."""
        return f"<Result of {self.case.title!r}: {self.outcomes.verdict.summary}>"

    def to_frame(self) -> pandas.DataFrame:
        """One row a step: time, current, segment, angle, hottest surfaces and probes [degC].

        Raises
        ------
        ImportError
            The package pandas is not installed.
        """
        trace = self.history.trace
        columns = {
            "time_s": trace.time,
            "current_A": trace.current,
            "segment": trace.segment,
            "angle_deg": np.degrees(trace.angle),
            "tube_C": trace.tube - ZERO_CELSIUS,
            "flange_C": trace.flange - ZERO_CELSIUS,
        } | {
            f"{probe.name}_C": trace.probes[:, column] - ZERO_CELSIUS
            for column, probe in enumerate(self.case.probes)
        }
        rows = zip(*(values.tolist() for values in columns.values()), strict=True)
        return frame_of([dict(zip(columns, row, strict=True)) for row in rows])

    def _repr_html_(self) -> str:
        verdict = self.outcomes.verdict
        segments = self.outcomes.as_dict()["segments"]
        return html_of(self.case.title, [verdict.summary, *verdict.also_look_at], segments)

    def save(self, folder: str | os.PathLike[str], count: Count | None = None) -> tuple[Path, ...]:
        """Write the result folder; see `folder.write_results`."""
        return write_results(self.history, self.outcomes, folder, self.convergence, count)


def simulate(
    case: Case,
    march: str = "compiled",
    threads: int | None = None,
    report: Report | None = None,
    shorter: float = 1.0,
    until: float = 0.0,
    keep: Collection[str] = (),
    hours: float = LONGEST,
    keeper: Keeper | None = None,
) -> Result:
    """Take a case through its schedule.

    Parameters
    ----------
    case : from `read_case`
    march : "compiled" (numba) or "fipy": the same equations on the same mesh
    threads : of the compiled march, all by default
    report : called with a `march.Progress` after every step; in a notebook progress shows without
    shorter : steps are that many times shorter than usual
    until : time to which the cooling is followed at least [s]
    keep : "film", "fields" or both: frames kept on the way, in `History.film` and `History.fields`,
        for `Result.save` to write
    hours : a run that would take longer on one thread is refused
    keeper : keeps the state of the compiled march now and then, and what it goes on from: a
        `Checkpoint`, say

    Raises
    ------
    TypeError
        It is not a case but, say, the name of its file.
    ValueError
        There is no such march, nothing of that name to keep, or a keeper with the other march or
        with something to keep.
    CaseError
        The case asks for too big a mesh, or the run would take too long.
    MarchError
        The computation failed.
    KeptError
        What the keeper begins with was not kept of this case; a `Checkpoint` in a ``with`` round
        the call turns it into a CaseError.
    """
    if not isinstance(case, Case):
        raise TypeError(f"simulate takes a case, as from read_case(...), not {case!r}")
    if march not in MARCHES:
        raise ValueError(f"march must be one of {', '.join(MARCHES)}, not {march!r}")
    if isinstance(keep, str) or not set(keep) <= set(KEPT):
        raise ValueError(f"keep holds names of {', '.join(KEPT)}, not {keep!r}")
    if keeper is not None and (march != "compiled" or keep):
        raise ValueError("a keeper goes with the compiled march alone, and with nothing to keep")
    job = job_of(case)
    refuse_long(case, job.problem.explicit_limit, hours)
    stepper = _stepper(job.problem, march, threads)
    report = report or notebook_report(case)
    history = run_through(job, stepper, report, shorter, until, keep, keeper)
    outcomes = outcomes_of(history)
    return Result(case, history, outcomes)


def _simulate(case: Case, shorter: float) -> Result:
    return simulate(case, shorter=shorter)


def converge(case: Case, run: Callable[[Case, float], Result] = _simulate) -> Result:
    """Compute a case at coarse, standard and fine: the fine result with numerical uncertainty.

    Coarse is computed once more with steps half as long. The verdict takes the uncertainty into
    account: what differs from its limit by less than it is too close to call, and neither solid
    nor flowing.

    Parameters
    ----------
    case : its own detail does not matter
    run : computes a case with steps so many times shorter than usual

    Raises
    ------
    CaseError
        The case asks for too big a mesh.
    MarchError
        The computation failed.
    """
    told = []
    halved = run(replace(case, detail=next(iter(DETAILS))), 2.0).outcomes
    for detail in DETAILS:
        result = run(replace(case, detail=detail), 1.0)
        told.append(result.outcomes)
    convergence = convergence_of(case, told, halved)
    verdict = Verdict.of(judge(result.history, convergence.uncertainty))
    outcomes = replace(result.outcomes, verdict=verdict)
    return replace(result, outcomes=outcomes, convergence=convergence)


def _stepper(problem: Problem, march: str, threads: int | None) -> Stepper:
    # Imported when asked for: neither march needs the other.
    if march == "fipy":
        from .march.steppers.fipy import FipyStepper

        return FipyStepper(problem)
    from .march.steppers.compiled import CompiledStepper

    return CompiledStepper(problem, threads)
