"""What a run will take, computed without running it: cells, steps, times."""

from __future__ import annotations

from dataclasses import dataclass

from ..case.case import Case
from ..joint.lines import mesh_lines
from ..joint.schedule import Segment, schedule_of
from .steps import (
    COOL_AT_LEAST,
    arc_step,
    dwell_steps,
    rest_steps,
    still_steps,
    travel_steps,
)

__all__ = ["Expected", "expected_of"]


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
