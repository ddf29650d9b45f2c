"""Take a problem through its schedule: arc, pauses, filler, and what is written down."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .case import Case
from .history import History, Ledger, Snapshot, Trace
from .problem import Problem
from .readout import close_history
from .schedule import Schedule, Segment
from .state import MarchError, State, Stepper
from .steps import COOL_AT_LEAST, GROWTH, LONGEST_STEP, arc_step, still_steps, travel_steps

__all__ = ["Progress", "Report", "march"]

Array = NDArray[np.float64]

LEAD = 1.0  # of filler before the torch axis, in spots
CHANGE = 60.0  # [K] that the hottest place may change in a step of a pause
LONGEST_WAIT = 7200.0  # [s] for `travel.resume_below`
COOL_TO = 773.15  # [K]: the run goes on after the last arc until the base is below this
COOL_AT_MOST = 300.0  # [s] and every probe is past its peak, or at the latest after this


@dataclass(frozen=True)
class Progress:
    """Where a march is: segment `done` of `count`, time [s], hottest base surfaces [K]."""

    segment: int
    done: int
    count: int
    time: float
    tube: float
    flange: float


Report = Callable[[Progress], None]


class _Log:
    """Rows of the trace while they grow."""

    def __init__(self) -> None:
        self.time: list[float] = []
        self.current: list[float] = []
        self.segment: list[int] = []
        self.angle: list[float] = []
        self.hottest: list[tuple[float, float]] = []
        self.samples: list[Array] = []

    def trace(self, starts: int, sides: int, has_flange: bool) -> Trace:
        samples = np.array(self.samples)
        hottest = np.array(self.hottest)
        points = samples[:, : starts * sides].reshape(len(samples), starts, sides).max(axis=2)
        return Trace(
            time=np.array(self.time),
            current=np.array(self.current),
            segment=np.array(self.segment),
            angle=np.array(self.angle),
            tube=hottest[:, 0],
            flange=hottest[:, 1] if has_flange else np.full(len(hottest), np.nan),
            starts=points,
            probes=samples[:, starts * sides :],
        )


class _Rod:
    """The rod of one segment: what is laid when, and the heat that melts it.

    A layer is laid `lead` layers ahead of the arc, as hot as the base there, and takes up the rest
    of its melting heat evenly until the arc stands over it.
    """

    def __init__(
        self, state: State, segment: Segment, layer_heat: float, flow: float, seconds: float
    ) -> None:
        numbers = np.arange(segment.first_layer, segment.last_layer)
        self.order = numbers if segment.direction > 0 else numbers[::-1]
        self.state, self.heat, self.flow, self.seconds = state, layer_heat, flow, seconds
        self.power = layer_heat * len(numbers) / seconds
        mass = state.problem.grid.mass[state.problem.fillet_cells]
        self.share = mass / mass.sum() if len(mass) else mass
        self.laid = 0
        self.left = np.zeros(len(numbers))  # heat a layer still has to take up [J]

    def feed(self, gone: float, lead: float, dt: float) -> float:
        """Lay what is due after the share `gone` of the way; returns heat given in `dt` [J]."""
        count = len(self.order)
        if not len(self.share):
            return 0.0
        here = gone * count
        due = min(int(here + lead + 0.5 + 1e-9), count)
        given = 0.0
        if due > self.laid:
            brought = self.state.lay(self.order[self.laid : due], self.flow)
            self.left[self.laid : due] = self.heat - brought
            given += float(brought.sum())
            self.laid = due
        # until the arc stands over the layer's middle, in whole steps
        passing = (np.arange(count) + 0.5 - here) * self.seconds / count
        now = self.left / np.maximum(np.round(passing / dt), 1.0)
        self.state.rod[:, self.order] = self.share[:, None] * now / dt
        self.left -= now
        return given + float(now.sum())


class _March:
    def __init__(self, problem: Problem, stepper: Stepper, report: Report | None) -> None:
        assert problem.case is not None
        assert problem.schedule is not None
        assert problem.samples is not None
        self.problem = problem
        self.case: Case = problem.case
        self.schedule: Schedule = problem.schedule
        self.stepper = stepper
        self.report = report
        self.state = State(problem)
        self.log = _Log()
        self.sides = 2 if problem.lap is not None else 1
        self.sample = np.empty(len(problem.samples.first) - 1)
        self.now = 0.0
        self.done = 0
        self.number = 0
        self.angle = 0.0
        self.arc_heat = self.filler_heat = self.lost = 0.0
        self.arc_on = 0.0
        self.steps = 0
        self.margin = -np.inf
        self.snapshot: Snapshot | None = None
        # what cannot melt still has a hottest place
        self.solidus = [a.solidus if a.solidus is not None else 1e6 for a in problem.alloys]
        self.arc_step = arc_step(self.case)
        # the rod is dabbed into the front of the puddle, so filler lies ahead of the torch axis
        self.lead = LEAD * self.case.arc.spot / (problem.mesh.step * self.case.tube.radius)
        self.starts: list[tuple[float, float, float]] = []  # start, end, temperature a segment
        fillet = problem.fillet_cells
        self.flow = self.layer_heat = 0.0
        if len(fillet):
            filler = problem.alloys[problem.grid.alloy[fillet[0]]]
            assert filler.liquidus is not None
            self.flow = filler.liquidus
            rise = float(filler.enthalpy(self.flow)) - self.state.start_h[fillet]
            self.layer_heat = float(problem.grid.mass[fillet] @ rise)

    def write(self, current: float) -> None:
        """One row of the trace."""
        state, log = self.state, self.log
        state.sample(self.sample)
        log.time.append(self.now)
        log.current.append(current)
        log.segment.append(self.number)
        log.angle.append(self.angle)
        log.hottest.append((state.best[0, 0], state.best[1, 0]))
        log.samples.append(self.sample.copy())
        for part in range(self.sides):
            margin = state.best[part, 0] - self.solidus[part]
            if margin > self.margin:
                self.margin = margin
                layer = int(state.best[part, 2])
                self.snapshot = self._picture(layer)
        if self.report is not None:
            self.report(
                Progress(
                    self.number,
                    self.done,
                    len(self.schedule.segments),
                    self.now,
                    float(state.best[0, 0]),
                    float(state.best[1, 0]),
                )
            )

    def _picture(self, layer: int) -> Snapshot:
        p, state = self.problem, self.state
        temperature = state.temperature(layer)
        alive = np.ones(len(temperature), dtype=np.bool_)
        alive[p.fillet_cells] = state.alive[:, layer] > 0.0
        return Snapshot(self.now, (layer + 0.5) * p.mesh.step, temperature, alive)

    def step(self, dt: float, power: float = 0.0) -> None:
        """Advance by `dt` with the arc as it is set, at `power` [W] in the mean."""
        state = self.state
        state.fill_lap()
        self.lost += self.stepper.advance(state, dt)
        self.arc_heat += power * dt
        self.now += dt
        self.steps += 1
        try:
            state.observe()
        except MarchError as error:
            raise MarchError(f"{error}, {self.now:.2f} s into the run") from None

    def hold(self, seconds: float, fade: bool = False) -> None:
        """Keep the arc still; with `fade` the current falls to zero."""
        full, gone = self.case.arc.power, 0.0
        for dt in still_steps(seconds, self.arc_step):
            before = 1.0 - gone / seconds if fade else 1.0
            gone += dt
            after = max(0.0, 1.0 - gone / seconds) if fade else 1.0
            self.state.burn((self.angle, full * before), (self.angle, full * after))
            share = 0.5 * (before + after)
            self.step(dt, full * share)
            self.write(self.case.arc.current * share)
        self.arc_on += seconds

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
        rod = _Rod(self.state, segment, self.layer_heat, self.flow, seconds) if lay else None
        power = self.case.arc.power - (rod.power if rod else 0.0)
        start, move = self.angle, (target - self.angle) / count
        for i in range(count):
            if rod:
                self.filler_heat += rod.feed(i / count, self.lead, dt)
            before, self.angle = self.angle, start + (i + 1) * move
            self.state.burn((before, power), (self.angle, power))
            self.step(dt, power)
            self.write(self.case.arc.current)
        self.state.rod[:] = 0.0
        self.angle = target
        self.arc_on += seconds

    def rest(self, seconds: float, until: Callable[[], bool] | None, at_most: float) -> None:
        """Arc off for `seconds`, then on until `until()` is true."""
        self.state.quench()
        begun, dt = self.now, self.arc_step
        while True:
            gone = self.now - begun
            if gone >= seconds - 1e-9 and (until is None or until()):
                return
            if gone > at_most:
                raise MarchError(
                    f"after {at_most:.0f} s the next start point is still not below "
                    "travel.resume_below"
                )
            left = seconds - gone
            size = min(dt, LONGEST_STEP)
            if left > 1e-9:
                size = left if left < 1.2 * size else min(size, 0.5 * left)
            before = self.state.best[:, 0].copy()
            self.step(size)
            self.write(0.0)
            change = float(np.abs(self.state.best[:, 0] - before).max())
            dt = size * min(GROWTH, max(0.5, CHANGE / max(change, 1e-9)))

    def _cool_enough(self, segment: Segment) -> Callable[[], bool] | None:
        below = self.case.travel.resume_below
        if below is None:
            return None
        return lambda: self.start_temperature(segment.number) < below

    def start_temperature(self, number: int) -> float:
        """Hotter side of the base at a segment's start point [K]."""
        self.state.sample(self.sample)
        at = (number - 1) * self.sides
        return float(self.sample[at : at + self.sides].max())

    def whole(self) -> None:
        """Every segment and pause, then the cooling."""
        travel = self.case.travel
        self.write(0.0)
        for segment in self.schedule.segments:
            if self.done:
                self.rest(travel.pause, self._cool_enough(segment), travel.pause + LONGEST_WAIT)
            self.number = segment.number
            self.angle = segment.run_from
            start = (self.now, self.start_temperature(segment.number))
            self.hold(travel.dwell)
            self.run(segment, segment.lay_from, lay=False)
            self.run(segment, segment.lay_to, lay=True)
            self.run(segment, segment.run_to, lay=False)
            self.hold(travel.taper, fade=True)
            self.starts.append((start[0], self.now, start[1]))
            self.done += 1

    def cool(self, until: float) -> None:
        """Go on after the last arc until the base is no longer hot, at least to a time [s]."""
        begun = self.now
        first = self.case.segment_count * self.sides
        probes = np.array(self.log.samples)[:, first:].max(axis=0)

        def cold() -> bool:
            np.maximum(probes, self.sample[first:], out=probes)
            falling = bool((self.sample[first:] < probes).all())
            cooled = float(self.state.best[:, 0].max()) < COOL_TO
            enough = self.now - begun > COOL_AT_MOST or (cooled and falling)
            return enough and self.now >= until

        self.rest(COOL_AT_LEAST, cold, max(until - begun, 0.0) + 2.0 * COOL_AT_MOST)


def march(
    problem: Problem, stepper: Stepper, report: Report | None = None, until: float = 0.0
) -> History:
    """March a problem through its schedule.

    Parameters
    ----------
    problem : from `setup.problem_of`
    stepper : the compiled or the FiPy one
    report : called after every step
    until : time to which the cooling is followed at least [s]

    Raises
    ------
    MarchError
        The computation failed.
    """
    began = time.perf_counter()
    run = _March(problem, stepper, report)
    run.whole()
    total = run.now
    run.cool(until)
    assert run.snapshot is not None
    return close_history(
        run.state,
        trace=run.log.trace(run.case.segment_count, run.sides, problem.lap is not None),
        snapshot=run.snapshot,
        ledger=Ledger(run.arc_heat, run.filler_heat, run.lost, run.state.stored()),
        starts=tuple(run.starts),
        arc_on=run.arc_on,
        total=total,
        simulated=run.now,
        steps=run.steps,
        march=stepper.name,
        wall_s=time.perf_counter() - began,
    )
