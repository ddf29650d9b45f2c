"""Case to answer in one line: what the commands, sweeps and scripts call."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from .case import Case
from .history import History
from .march import Report
from .march import march as run_through
from .outcomes import Outcomes, outcomes_of
from .problem import Problem
from .results import write_results
from .setup import problem_of
from .state import Stepper

__all__ = ["MARCHES", "Result", "simulate"]

MARCHES = ("compiled", "fipy")


@dataclass(frozen=True)
class Result:
    """A case, what happened step by step, and the answer."""

    case: Case
    history: History
    outcomes: Outcomes

    def save(self, folder: str | os.PathLike[str]) -> tuple[Path, ...]:
        """Write the result folder; see `results.write_results`."""
        return write_results(self.history, self.outcomes, folder)


def simulate(
    case: Case, march: str = "compiled", threads: int | None = None, report: Report | None = None
) -> Result:
    """Take a case through its schedule.

    Parameters
    ----------
    case : from `read_case`
    march : "compiled" (numba) or "fipy": the same equations on the same mesh
    threads : of the compiled march, all by default
    report : called with a `march.Progress` after every step

    Raises
    ------
    ValueError
        There is no such march.
    CaseError
        The case asks for too big a mesh.
    MarchError
        The computation failed.
    """
    if march not in MARCHES:
        raise ValueError(f"march must be one of {', '.join(MARCHES)}, not {march!r}")
    problem = problem_of(case)
    stepper = _stepper(problem, march, threads)
    history = run_through(problem, stepper, report)
    outcomes = outcomes_of(history)
    return Result(case, history, outcomes)


def _stepper(problem: Problem, march: str, threads: int | None) -> Stepper:
    # Imported when asked for: neither march needs the other.
    if march == "fipy":
        from .fipy_march import FipyStepper

        return FipyStepper(problem)
    from .compiled import CompiledStepper

    return CompiledStepper(problem, threads)
