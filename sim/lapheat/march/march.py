"""Take a job through its schedule: arc, pauses, filler."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from dataclasses import replace
from math import floor

import numpy as np

from ..case.case import ArcTack, tacked_layers
from ..history.records import Clock, History, Unfinished
from ..joint.schedule import Segment
from ..problem.problem import Job
from .chill import advance
from .errors import MarchError
from .hand import Hand
from .readout import close_history
from .recorder import Progress, Recorder, Report
from .rod import Rod
from .safety.guard import Guard
from .safety.way import UNFIT, Keeper, KeptError, Way
from .state import State, Stepper
from .steps import (
    COOL_AT_LEAST,
    arc_step,
    dwell_steps,
    rest_step,
    rest_steps,
    still_steps,
    travel_steps,
)

__all__ = ["Progress", "Report", "march"]

LEAD = 1.0  # of filler before the torch axis, in spots
BELOW = 0.01  # [K] that a wait for `travel.resume_below` aims below it
LONGEST_WAIT = 7200.0  # [s] for `travel.resume_below`
COOL_TO = 773.15  # [K]: the run goes on after the last arc until the base is below this
COOL_AT_MOST = 300.0  # [s] and every probe is past its peak, or at the latest after this


class _March:
    """The hand on the torch: where the arc is, how long, at what current."""

    def __init__(
        self,
        job: Job,
        stepper: Stepper,
        report: Report | None,
        shorter: float,
        keep: Collection[str],
        keeper: Keeper | None,
    ) -> None:
        self.case, self.schedule, self.problem = job.case, job.schedule, job.problem
        self.stepper, self.shorter = stepper, shorter
        self.state = State(self.problem)
        self.record = Recorder(job, self.state, report, keep)
        self.hand = Hand(self.state, self.case)
        self.guard = Guard(job, self.state)
        self.keeper, self.begin = keeper, None if keeper is None else keeper.begin
        self.way = Way(self.begin)
        self.rod: Rod | None = None
        self.written, self.tacking = 0, False
        self.now = 0.0
        self.number = 0
        self.angle = 0.0
        self.arc_step = arc_step(self.case) / shorter
        # The rod is dabbed into the front of the puddle, so filler lies ahead of the torch axis, by
        # whole half layers: then every layer is laid at the end of a step, however wide the spot.
        layer = self.problem.mesh.step * self.case.tube.radius
        self.lead = 0.5 * floor(2.0 * LEAD * self.case.arc.spot / layer + 1e-9)
        self.flow = self.layer_heat = 0.0
        fillet = self.problem.fillet_cells
        if len(fillet):
            filler = self.problem.alloys[self.problem.grid.alloy[fillet[0]]]
            self.flow = filler.flow
            rise = float(filler.enthalpy(self.flow)) - self.state.start_h[fillet]
            self.layer_heat = float(self.problem.grid.mass[fillet] @ rise)

    def write(self, current: float) -> None:
        """Write down what a step came to, at `current` [A]; keep it all now and then."""
        self.written += 1
        if not self.way.again:
            self.record.write(self.now, self.number, self.angle, current)
            # what a tack has laid so far is known to `tack` alone
            if self.keeper is not None and not self.tacking and self.keeper.due():
                self.keeper.keep(self.way.taken(self.owners()))
        elif self.begin is not None and self.written == len(self.begin["record.rows"]):
            rows, samples = self.begin["record.rows"], self.begin["record.samples"]
            if (rows.shape[1:], samples.shape) != ((6,), (self.written, *self.record.sample.shape)):
                raise ValueError("rows are of another size")
            self.state.heat_from = self.state.heat.copy()  # its own array, to be filled
            self.way.arrive(self.owners(), self.begin)

    def owners(self) -> dict[str, object]:
        """All that carries something from step to step, but for the way itself."""
        state = self.state
        owners = {"state": state, "times": state.times, "record": self.record, "hand": self.hand}
        more = {"stepper": self.stepper.memory, "rod": self.rod}
        return owners | {name: owner for name, owner in more.items() if owner is not None}

    def burn(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        """Set the arc of a step, see `State.burn`."""
        if not self.way.again:
            self.state.burn(start, end)

    def step(self, dt: float, power: float = 0.0) -> None:
        """Advance by `dt` with the arc as it is set, at `power` [W] in the mean."""
        state, record = self.state, self.record
        if self.way.again:
            self.now += dt
            return
        state.fill_lap()
        record.lost += advance(self.stepper, state, dt)
        record.arc_heat += power * dt
        record.steps += 1
        self.now += dt
        try:
            self.guard.check(state, record)
            state.observe(dt)
        except MarchError as error:
            at = f"segment {self.number}" if self.number else "before the first segment"
            raise MarchError(f"{error}, {self.now:.2f} s into the run ({at})") from None

    def press(self, dt: float) -> float:
        """Mean current of the coming step [A], see `Hand.press`."""
        return self.way.look(lambda: self.hand.press(self.angle, dt))

    def lacks(self, segment: Segment) -> float:
        """How far a start point is from flow [K], see `Hand.lacks`."""
        return self.way.look(lambda: self.hand.lacks(segment))

    def hold(self, seconds: float, fade: bool = False, struck: bool = True) -> None:
        """Keep the arc still, just `struck` or not; with `fade` the current falls to zero."""
        arc, full, gone = self.case.arc, self.way.look(lambda: self.hand.current), 0.0
        steps = dwell_steps(self.case, seconds, self.shorter, struck)
        if fade:
            steps = still_steps(seconds, self.arc_step)
        for dt in steps:
            before = 1.0 - gone / seconds if fade else 1.0
            gone += dt
            after = max(0.0, 1.0 - gone / seconds) if fade else 1.0
            share = 0.5 * (before + after)
            current = full * share if fade else self.press(dt)
            power = arc.power_at(current)
            ends = (power * before / share, power * after / share)
            self.burn((self.angle, ends[0]), (self.angle, ends[1]))
            self.step(dt, power)
            self.write(current)
        self.record.arc_on += seconds

    def wait_for_flow(self, segment: Segment) -> None:
        """Keep the arc still until both sides flow, at the latest until `dwell_limit`.

        The last steps aim where a straight line through the one before meets flow, so that the
        wait does not end by whole steps.
        """
        limit, begun = self.case.travel.dwell_limit, self.now
        rise, lacking = 0.0, self.lacks(segment)
        while lacking > 0.0:
            left = begun + limit - self.now
            if left < 1e-9:
                return
            size = left if left < 1.2 * self.arc_step else self.arc_step
            if rise > 0.0:
                size = min(size, (lacking + BELOW) / rise)
            self.hold(size, struck=self.now == begun)
            was, lacking = lacking, self.lacks(segment)
            fresh = (was - lacking) / size
            rise = fresh if fresh > 0.0 else rise  # the pedal may give way in a short step

    def run(self, segment: Segment, target: float, lay: bool) -> None:
        """Move the arc to `target` [rad], laying filler on the way if `lay`."""
        span = abs(target - self.angle)
        if span == 0.0:
            return
        seconds = span / self.schedule.rate
        layers = segment.last_layer - segment.first_layer if lay else 0
        # whole half layers, so that filler starts at the middle of one
        count = travel_steps(seconds, self.arc_step, layers)
        dt = seconds / count
        rod = Rod(self.state, segment, self.layer_heat, self.flow, seconds) if lay else None
        self.rod = rod
        start, move, taken = self.angle, (target - self.angle) / count, 0.0
        for i in range(count):
            if rod:
                if not self.way.again:
                    self.record.filler_heat += rod.feed(i / count, self.lead, dt)
                taken = rod.power((i + 0.5) / count)
            current = self.press(dt)
            power = self.case.arc.power_at(current) - taken
            before, self.angle = self.angle, start + (i + 1) * move
            self.burn((before, power), (self.angle, power))
            self.step(dt, power)
            self.write(current)
        self.rod = None
        self.state.rod[:] = 0.0
        self.angle = target
        self.record.arc_on += seconds

    def tack(self, tack: ArcTack) -> None:
        """Lay a tack by a short arc that does not move; the rod is dabbed half its time on."""
        state, problem, half = self.state, self.problem, 0.5 * tack.time
        numbers = np.array(tacked_layers(tack, problem.mesh.layers, self.case.tube.radius))
        numbers = numbers[~(state.alive[:, numbers] > 0.0).any(axis=0)]
        power = self.case.arc.power_at(tack.current)
        self.angle, melting, self.tacking = tack.angle, np.zeros(len(numbers)), True
        for laid in (False, True):
            if laid:
                brought = state.lay(numbers, self.flow)
                self.record.filler_heat += float(brought.sum())
                melting = (self.layer_heat - brought) / half
                mass = problem.grid.mass[problem.fillet_cells]
                state.rod[:, numbers] = (mass / mass.sum())[:, None] * melting
                power -= self.layer_heat * len(numbers) / half
            self.burn((self.angle, power), (self.angle, power))
            count = travel_steps(half, self.arc_step)
            dt = half / count
            for _ in range(count):
                self.record.filler_heat += float(melting.sum()) * dt
                self.step(dt, power)
                self.write(tack.current)
        self.tacking = False
        state.rod[:] = 0.0
        self.record.arc_on += tack.time

    def pause(self, seconds: float, until: Callable[[], float] | None, at_most: float) -> None:
        """Arc off for `seconds`, then on until `until()` is below 0, ending just after that.

        The wait aims where a straight line through the last step would meet 0: three or four
        steps, ever shorter, end it within some hundredths of a kelvin.
        """
        self.state.quench()
        begun, over, fall = self.now, -1.0 if until is None else until(), 0.0

        def step(size: float) -> None:
            nonlocal over, fall
            self.step(size)
            self.write(0.0)
            if until is not None:
                was, over = over, until()
                fall = (was - over) / size

        for size in rest_steps(self.case, seconds, self.shorter):
            step(size)
        while over >= 0.0:
            gone = self.now - begun
            if gone > at_most:
                raise MarchError(
                    f"after {at_most:.0f} s the next start point is still not below "
                    "travel.resume_below"
                )
            size = rest_step(self.case, gone, self.shorter)
            step(min(size, (over + BELOW) / fall) if fall > 0.0 else size)

    def _cool_enough(self, segment: Segment) -> Callable[[], float] | None:
        below = self.case.travel.resume_below
        if below is None:
            return None
        return lambda: self.start_temperature(segment) - below

    def start_temperature(self, segment: Segment) -> float:
        """Base at a segment's start point now [K]."""
        return self.way.look(lambda: self.record.start_temperature(segment.number))

    def whole(self) -> None:
        """Every tack that an arc lays, every segment, and the pauses between."""
        travel = self.case.travel
        self.write(0.0)
        for tack in self.case.arc_tacks:
            if self.record.arc_on:
                self.pause(travel.pause, None, travel.pause)
            self.tack(tack)
        for segment in self.schedule.segments:
            if self.record.arc_on:
                self.pause(travel.pause, self._cool_enough(segment), travel.pause + LONGEST_WAIT)
            self.number = segment.number
            self.angle = segment.run_from
            struck, temperature = self.now, self.start_temperature(segment)
            self.hand.strike()
            if travel.start == "on-flow":
                self.wait_for_flow(segment)
            else:
                self.hold(travel.dwell)
            wait = self.now - struck
            flowed = None if self.problem.lap is None else self.lacks(segment) <= 0.0
            self.run(segment, segment.lay_from, lay=False)
            self.run(segment, segment.lay_to, lay=True)
            self.run(segment, segment.run_to, lay=False)
            self.hold(travel.taper, fade=True)
            clock = Clock(struck, self.now, temperature, wait, flowed)
            self.record.starts.append(clock)

    def cool(self, until: float) -> None:
        """Go on after the last arc until the base is no longer hot, at least to a time [s]."""
        begun = self.now

        def cold() -> float:
            cooled = float(self.state.best[:, 0].max()) < COOL_TO
            enough = self.now - begun > COOL_AT_MOST or (cooled and self.record.falling())
            return -1.0 if enough and self.now >= until else 1.0

        self.pause(
            COOL_AT_LEAST, lambda: self.way.look(cold), max(until - begun, 0.0) + 2.0 * COOL_AT_MOST
        )


def march(
    job: Job,
    stepper: Stepper,
    report: Report | None = None,
    shorter: float = 1.0,
    until: float = 0.0,
    keep: Collection[str] = (),
    keeper: Keeper | None = None,
) -> History:
    """March a job through its schedule.

    Parameters
    ----------
    job : from `setup.job_of`
    stepper : the compiled or the FiPy one, made for the job's problem
    report : called after every step
    shorter : its steps are that many times shorter than usual
    until : time to which the cooling is followed at least [s]
    keep : of `frames.KEPT`, what is kept of the fields on the way
    keeper : keeps the state now and then, without such fields; goes on from what it begins with

    Raises
    ------
    MarchError
        The computation failed; it holds what was computed before.
    KeptError
        What the keeper begins with was not kept of this job.
    """
    began = time.perf_counter()
    run = _March(job, stepper, report, shorter, keep, keeper)
    try:
        run.whole()
        total = run.now
        run.cool(until)
        if run.way.again:
            raise IndexError("the way ended before the kept rows did")
    except (MarchError, *UNFIT) as error:
        if run.way.again:
            raise KeptError from error
        if isinstance(error, MarchError):
            error.so_far = Unfinished(job.case, run.record.trace(), stepper.name)
        raise
    run.state.fill_lap()  # as the last step left it
    history = close_history(job, run.state, run.record, total, run.now)
    return replace(history, march=stepper.name, wall_s=time.perf_counter() - began)
