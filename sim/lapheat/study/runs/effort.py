"""How long many runs take, and how long a study may take that nobody allowed more."""

from __future__ import annotations

from dataclasses import replace

from ...case.case import Case
from ...case.faults import CaseError
from ...march.expected import expected_of
from ...march.steps import arc_step, still_steps

__all__ = ["refuse_long", "seconds_of"]

# [s] One thread, measured: the demo at coarse takes 46 ns a cell and step, at standard 58.
CELL_STEP = 50e-9
START = 0.1  # [s] of a run that does not grow with its mesh
ABOUT_WAIT = 4.0  # [s] for flow at a start


def refuse_long(case: Case, detail: str, runs: tuple[int, int], workers: int, hours: float) -> None:
    """Refuse a study that would take more than some `hours`.

    Parameters
    ----------
    case, detail, runs : as for `seconds_of`
    workers : how many runs go on at once
    hours : allowed

    Raises
    ------
    CaseError
        It would.
    """
    needed = seconds_of(case, detail, runs) / workers / 3600.0
    if needed > hours:
        given = f"some {sum(runs)} runs, {workers} at once, in some {needed:.2g} hours"
        hint = "fewer runs, a coarser detail, or on the command line a higher --hours"
        raise CaseError.one("", "--hours", given, f"at most {hours:g} hours", hint)


def seconds_of(case: Case, detail: str, runs: tuple[int, int]) -> float:
    """Time that all runs of a study take on one core [s], roughly.

    Parameters
    ----------
    case : at its own detail
    detail : mesh of the study
    runs : at that detail, and at the case's own
    """
    return sum(
        count * _seconds(replace(case, detail=mesh))
        for count, mesh in zip(runs, (detail, case.detail), strict=True)
        if count
    )


def _seconds(case: Case) -> float:
    expected = expected_of(case)
    waits = 0.0
    if case.travel.start == "on-flow":  # some seconds at each start
        waits = expected.segments * len(still_steps(ABOUT_WAIT, arc_step(case)))
    return START + CELL_STEP * expected.cells * (expected.steps + waits)
