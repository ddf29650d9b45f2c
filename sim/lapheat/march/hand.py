"""The brazer's hand: how much current the pedal gives, and when the arc leaves a start point."""

from __future__ import annotations

from math import exp, isnan, nan

import numpy as np

from ..case.case import Case
from ..history.wetting import reached
from ..joint.schedule import Segment
from ..problem.arrays import FLANGE, NEITHER, TUBE
from .state import State
from .steps import arc_step

__all__ = ["Hand"]

REACH = 3.0  # spots on either side of the torch that count as under the arc
# Within a lag the hottest place answers about half of a change of current, so twice as much is
# given. The pedal looks half a lag ahead, at most half a second. It thus gives way before the hold
# is reached.
GAIN = 2.0
AHEAD, FAR = 0.5, 0.5  # lags, [s]


class Hand:
    """What the eye sees of a state, and what the hand makes of it.

    The pedal moves, with its lag, towards the current that would hold the hottest base under the
    arc. That current is computed from where the pedal is. Its position is the controller's memory:
    where the base is at `arc.hold` the current stays, and it cannot wind up beyond its range.
    """

    KEPT = ("current", "rise", "since")

    def __init__(self, state: State, case: Case) -> None:
        grid, part = state.problem.grid, state.problem.base.part
        self.state, self.case = state, case
        self.current = case.arc.current
        self.look = arc_step(case)  # of the eye [s]
        self.rise = nan  # of what was seen last, above the air; none yet [K]
        self.since = 1.0  # time from then to the next look [s]
        self.base = np.flatnonzero(part != NEITHER)
        covered = np.flatnonzero(grid.cover >= 0)
        ends = state.problem.mesh.walls.ends[state.problem.wall[covered]]
        away = ends.min(axis=1) @ np.array([1.0, 1.0])  # grows from the root on either side
        covered = covered[np.argsort(away, kind="stable")]
        self.sides = [covered[part[covered] == side] for side in (TUBE, FLANGE)]

    def strike(self) -> None:
        """Begin a segment: the pedal is at the current of the case."""
        self.current = self.case.arc.current
        self.rise = nan

    def sees(self, angle: float) -> float:
        """Hottest base under an arc at `angle` [rad] [K]."""
        mesh = self.state.problem.mesh
        reach = REACH * self.case.arc.spot / (mesh.step * self.case.tube.radius)
        middle = angle / mesh.step - 0.5
        near = np.arange(round(middle - reach), round(middle + reach) + 1) % mesh.layers
        return float(self.state.surface[:, near][self.base].max())

    def press(self, angle: float, dt: float) -> float:
        """Mean current of the coming `dt` [s] with the arc at `angle` [rad] [A].

        The pedal follows, with its lag [s], ``dI/dt = (I* - I) / lag`` towards
        ``I* = I (1 + 2 ((hold - T_air) / (T - T_air) - 1))``, kept inside its range [A]. T [K] is
        the hottest base under the arc, moved on along a straight line by half a lag or 0.5 s,
        whichever is shorter; its rise above air counts as 1 K at least. I* is held for the step, so
        the mean is ``I* + (I - I*) (1 - exp(-dt / lag)) lag / dt`` (first-order lag, from memory).
        `GAIN` says where the 2 comes from. A steady current is returned as it is.
        """
        pedal = self.case.arc.pedal
        if pedal is None:
            return self.case.arc.current
        air = self.case.surroundings.temperature
        rise = self.sees(angle) - air
        # the first steps after a strike are shorter than an eye's look
        speed = 0.0 if isnan(self.rise) else (rise - self.rise) / max(self.since, self.look)
        self.rise, self.since = rise, dt
        expected = max(rise + min(AHEAD * pedal.lag, FAR) * speed, 1.0)
        change = GAIN * ((pedal.hold - air) / expected - 1.0)
        low, high = pedal.range
        wanted = min(max(self.current * (1.0 + change), low), high)
        left, off = exp(-dt / pedal.lag), self.current - wanted
        self.current = wanted + off * left
        return wanted + off * (1.0 - left) * pedal.lag / dt

    def lacks(self, segment: Segment) -> float:
        """How far the colder side is from that [K]; 0 or less: it flows. 0 without filler.

        With an overlap the run begins on filler already laid. It is read off the first layer of
        the run: the one before it may be under other filler.
        """
        problem, limits = self.state.problem, self.case.limits
        if problem.lap is None:
            return 0.0  # no filler to wait for
        begin = round(segment.run_from / problem.mesh.step)
        layer = (begin if segment.direction > 0 else begin - 1) % problem.mesh.layers
        area, wets_at = problem.grid.wall_area, problem.lap.flow + limits.flow_margin
        now = self.state.surface[:, layer]
        sides = (reached(now[side], area[side], limits.wet_fraction) for side in self.sides)
        return wets_at - min(sides)
