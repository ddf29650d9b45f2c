"""What a run will take, computed without running it: cells, steps, times, and if it is too long."""

from __future__ import annotations

from dataclasses import dataclass

from ..case.case import Case
from ..case.faults import CaseError, Fault
from ..joint.lines import mesh_lines
from ..joint.schedule import Segment, schedule_of
from .steps import (
    COOL_AT_LEAST,
    arc_step,
    dwell_steps,
    rest_steps,
    stages_for,
    still_steps,
    travel_steps,
)

__all__ = ["LONGEST", "Expected", "expected_of", "refuse_long", "seconds_of", "stages_of"]

# [s] a cell and stage on one thread, with what is done between stages: the demo at coarse, measured
STAGE = 2.4e-9
LONGEST = 2.0  # [h] of a run on one thread that is begun unasked


@dataclass(frozen=True)
class Expected:
    """Size of a run.

    Attributes
    ----------
    cells, section_cells, layers : of the whole ring, of one layer, number of layers
    segments : to be laid, of `ring` that close the ring
    arc_on, total : [s] arc time; first arc to last arc-off; without waits for `resume_below` and
        for flow
    arc_steps : steps with the arc on, exact but for those waits
    steps : of the whole run with its cooling, roughly: pauses take as many as their heat needs
    """

    cells: int
    section_cells: int
    layers: int
    segments: int
    ring: int
    arc_on: float
    total: float
    arc_steps: int
    steps: int


def expected_of(case: Case) -> Expected:
    """Work out the size of a run.

    Raises
    ------
    CaseError
        The case asks for too big a mesh.
    """
    lines = mesh_lines(case)
    plan = schedule_of(case, lines.layers)
    travel = case.travel
    step = arc_step(case)
    dwell = 0.0 if travel.start == "on-flow" else travel.dwell

    def arc_steps(segment: Segment) -> int:
        seconds = abs(segment.lay_to - segment.lay_from) / plan.rate
        layers = segment.last_layer - segment.first_layer
        over = [segment.lay_from - segment.run_from, segment.run_to - segment.lay_to]
        moves = [travel_steps(abs(angle) / plan.rate, step) for angle in over]
        stands = len(dwell_steps(case, dwell)) + len(still_steps(travel.taper, step))
        return travel_steps(seconds, step, layers) + sum(moves) + stands

    runs = [abs(s.run_to - s.run_from) / plan.rate for s in plan.segments]
    arc_on = sum(runs) + len(runs) * (dwell + travel.taper)
    pauses = len(runs) - 1
    on = sum(arc_steps(segment) for segment in plan.segments)
    tacks = [tack.time for tack in case.arc_tacks]
    arc_on += sum(tacks)
    on += sum(2 * travel_steps(0.5 * seconds, step) for seconds in tacks)
    pauses += len(tacks)
    off = pauses * len(rest_steps(case, travel.pause)) + len(rest_steps(case, COOL_AT_LEAST))
    return Expected(
        cells=lines.cells,
        section_cells=lines.section_cells,
        layers=lines.layers,
        segments=len(runs),
        ring=plan.count,
        arc_on=arc_on,
        total=arc_on + pauses * travel.pause,
        arc_steps=on,
        steps=on + off,
    )


def stages_of(case: Case, explicit_limit: float) -> int:
    """Stages of a compiled march, roughly, without waits: each goes over all cells once.

    A step has the stages that the thinnest cell of the metal that spreads heat fastest asks for.

    Parameters
    ----------
    case : as it was read
    explicit_limit : of its problem, see `stability.explicit_limit` [s]
    """
    expected = expected_of(case)
    pauses = expected.segments - 1 + len(case.arc_tacks)

    def stages(seconds: float) -> int:
        return sum(stages_for(step, explicit_limit) for step in rest_steps(case, seconds))

    arc = expected.arc_steps * stages_for(arc_step(case), explicit_limit)
    return arc + pauses * stages(case.travel.pause) + stages(COOL_AT_LEAST)


def seconds_of(case: Case, explicit_limit: float) -> float:
    """Time of a compiled march on one thread [s], roughly, without waits.

    ``2.4 ns x cells x stages``, see `stages_of` for the arguments.
    """
    return STAGE * expected_of(case).cells * stages_of(case, explicit_limit)


def refuse_long(case: Case, explicit_limit: float, hours: float) -> None:
    """Refuse a run that would take more than some `hours` on one thread.

    Raises
    ------
    CaseError
        It would.
    """
    needed = seconds_of(case, explicit_limit) / 3600.0
    if needed > hours:
        allowed = f"a run of at most {hours:g} hours on one core; this one takes some {needed:.2g}"
        hint = "alloys that spread heat less fast, a coarser detail, a smaller part, or --hours"
        raise CaseError([Fault(case.file, "numerics.detail", case.detail, allowed, hint)])
