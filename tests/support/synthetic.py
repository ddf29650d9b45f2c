"""Made-up runs that look like a real braze, for tests of what reads a `History`.

A linear thin-sheet march on a coarse grid stands in for the real one, and its rise is scaled to
the peak that was asked for: shapes are lifelike, numbers are not to be trusted.
"""

from __future__ import annotations

from dataclasses import replace
from math import pi, sqrt
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from lapheat.case.alloys import Alloy
from lapheat.case.case import (
    Arc,
    Case,
    Display,
    Fillet,
    Flange,
    Lap,
    Limits,
    Probe,
    Surroundings,
    Travel,
    Tube,
)
from lapheat.history.records import History, Ledger, SegmentRun, Snapshot, SurfacePeaks, Trace
from lapheat.joint.lines import mesh_lines, section_of
from lapheat.joint.schedule import schedule_of
from lapheat.joint.section import Region

if TYPE_CHECKING:
    from lapheat.problem.problem import Problem

Array = NDArray[np.float64]

AIR = 293.15
FLOW = 1298.15  # 1025 degC
STAINLESS_SOLIDUS = 1673.15  # 1400 degC
STEEL_SOLIDUS = 1763.15  # 1490 degC
MOST_TURNS = 72  # columns of the sheet
PITCH = 1.5e-3  # [m] rows of the sheet, and at least this between columns

PROBES = (
    Probe("T1", "tube", 0.5 * pi, 6e-3, 0.0, 0.0),
    Probe("T2", "tube", 1.5 * pi, 12e-3, 0.0, 0.0),
    Probe("plate", "flange", pi, 0.0, 10e-3, 0.0),
)


def make_case(
    bead: bool = False,
    segments: int = 8,
    probes: tuple[Probe, ...] = PROBES,
    display: Display | None = None,
    order: str = "in-turn",
    pause: float = 6.0,
    diameter: float = 38.1e-3,
    coverage: float = 1.0,
) -> Case:
    """Return the flue stub (or a bead on its tube) with this many segments round the ring."""
    alloys = {
        "304L": Alloy.constant("304L", 7900.0, 25.0, 600.0, 0.6, STAINLESS_SOLIDUS, 1727.0, 2.9e5),
        "low-carbon steel": Alloy.constant(
            "low-carbon steel", 7850.0, 30.0, 650.0, 0.8, STEEL_SOLIDUS, 1798.0, 2.7e5
        ),
        "CuSi3Mn1": Alloy.constant("CuSi3Mn1", 8530.0, 60.0, 400.0, 0.3, 1243.15, FLOW, 2.1e5),
    }
    tube = Tube("304L", diameter, 1.65e-3, 114.3e-3)
    return Case(
        title="synthetic",
        joint="bead-on-tube" if bead else "tube-to-flange",
        tube=tube,
        flange=None if bead else Flange("low-carbon steel", 6.35e-3, 100e-3),
        lap=None if bead else Lap(6.35e-3, 0.1e-3),
        fillet=None if bead else Fillet("CuSi3Mn1", 3.3e-3, 1.6e-3),
        arc=Arc(
            *(70.0, 12.8, False, 0.63, 1.6e-3, 0.25 * pi, 0.0),
            hold=None if bead else FLOW + 75.0,
            current_range=(21.0, 91.0),
        ),
        travel=Travel(
            2.5e-3, tube.circumference / segments, pause, order=order, dwell=1.0, coverage=coverage
        ),
        surroundings=Surroundings(AIR, 10.0, 5.0),
        limits=Limits(50.0, 0.95),
        detail="coarse",
        probes=tuple(p for p in probes if not (bead and p.on == "flange")),
        alloys=alloys,
        display=display or Display(),
    )


def make_history(case: Case, peak: float = 1562.15, cooling: float = 20.0) -> History:
    """Return a run of the case whose hottest tube surface is `peak` [K] (1289 degC).

    Parameters
    ----------
    case : see `make_case`
    peak : hottest tube surface of the run [K]
    cooling : time marched after the last arc [s]
    """
    lines = mesh_lines(case)
    joint = section_of(lines)
    plan = schedule_of(case, lines.layers)
    starts_at = [
        min(s.run_from, s.run_to) if s.direction > 0 else s.run_from for s in plan.segments
    ]
    spans, clock = [], 0.0
    for segment in plan.segments:
        end = clock + case.travel.dwell + abs(segment.run_to - segment.run_from) / plan.rate
        spans.append((clock, end))
        clock = end + case.travel.pause
    total = spans[-1][1]

    low = float(lines.axial[0]) if case.flange is not None else -30e-3
    rows = low + PITCH * np.arange(round((30e-3 - low) / PITCH) + 1)
    turns = min(MOST_TURNS, int(case.tube.circumference / PITCH))
    columns = (np.arange(turns) + 0.5) * 2.0 * pi / turns
    dt = 0.05
    steps = round((total + cooling) / dt)
    time = dt * np.arange(steps + 1)
    current, number = np.zeros(steps + 1), np.zeros(steps + 1, dtype=np.int64)
    angle, tube = np.zeros(steps + 1), np.zeros(steps + 1)
    kept = np.empty((steps + 1, len(rows), turns), dtype=np.float32)
    rise = np.zeros((len(rows), turns))
    kept[0] = 0.0
    sink = np.where((rows < 2e-3) & (case.flange is not None), 0.05, 0.008)[:, None]
    line = 1e-3 if case.flange is not None else 0.0
    spread = 1.7e-3 * sqrt(2.0)
    step_z, step_a = PITCH, case.tube.radius * 2.0 * pi / turns
    for n in range(1, steps + 1):
        active = [i for i, (a, b) in enumerate(spans) if a < time[n] <= b + 1e-9]
        number[n], angle[n] = number[n - 1], angle[n - 1]
        heat: Array | float = 0.0
        if active:
            segment, begun = plan.segments[active[0]], spans[active[0]][0]
            moved = max(0.0, time[n] - begun - case.travel.dwell) * plan.rate
            angle[n] = starts_at[active[0]] + segment.direction * moved
            number[n], current[n] = segment.number, case.arc.current
            apart = (columns - angle[n] + pi) % (2.0 * pi) - pi
            across = np.exp(-(((rows - line) / spread) ** 2))
            along = np.exp(-((apart * case.tube.radius / spread) ** 2))
            heat = across[:, None] * along
        wide = np.concatenate([rise[:1], rise, rise[-1:]])
        spread_z = (wide[2:] - 2 * rise + wide[:-2]) / step_z**2
        spread_a = (np.roll(rise, 1, 1) - 2 * rise + np.roll(rise, -1, 1)) / step_a**2
        rise = rise + dt * (6e-6 * (spread_z + spread_a) + heat - sink * rise)
        kept[n] = rise
    kept *= (peak - AIR) / kept.max()
    tube = AIR + kept.max(axis=(1, 2)).astype(np.float64)

    def at(height: float, turn: float) -> Array:
        """Return the trace of one point of the sheet [K]."""
        row = int(np.argmin(np.abs(rows - height)))
        column = int(turn % (2.0 * pi) / (2.0 * pi) * turns) % turns
        return AIR + kept[:, row, column].astype(np.float64)

    starts = np.full((steps + 1, plan.count), AIR)
    for index in range(plan.count):
        starts[:, index] = at(line, index * 2.0 * pi / plan.count + 1e-6)
    probes = np.empty((steps + 1, len(case.probes)))
    for index, probe in enumerate(case.probes):
        flat = probe.on == "flange"
        trace = at(probe.radius if flat else probe.height, probe.angle)
        probes[:, index] = AIR + (0.7 if flat else 1.0) * (trace - AIR)

    layers = (np.arange(lines.layers) + 0.5) * 2.0 * pi / lines.layers
    crest = kept.max(axis=0).astype(np.float64)

    def unroll(name: str, edges: Array, share: float, reach: float) -> SurfacePeaks:
        position = 0.5 * (edges[1:] + edges[:-1])
        across = np.stack([np.interp(position, rows, crest[:, k], right=0.0) for k in range(turns)])
        ring = np.stack([np.interp(layers, columns, a, period=2.0 * pi) for a in across.T])
        fade = np.exp(-np.maximum(position, 0.0) / reach)[:, None]
        return SurfacePeaks(name, position, edges, layers, AIR + share * fade * ring)

    surfaces = {
        "tube outside": unroll("tube outside", lines.axial, 1.0, 1.0),
        "tube bore": unroll("tube bore", lines.axial, 0.93, 1.0),
    }
    flange = np.full(steps + 1, np.nan)
    if lines.radial is not None:
        out = lines.radial - lines.wall[-1]
        surfaces["flange face"] = unroll("flange face", out, 0.9, 40e-3)
        flange = AIR + 0.9 * (tube - AIR)
    top = surfaces["tube outside"].peak
    surfaces["tube outside"] = replace(
        surfaces["tube outside"], peak=AIR + (top - AIR) * (peak - AIR) / (top.max() - AIR)
    )

    hottest = int(np.argmax(tube))
    place = int(np.argmax(kept[hottest].max(axis=0)))
    corners = joint.cells >= 0
    centre = np.stack(
        [
            np.where(corners, joint.vertices[joint.cells, k], 0.0).sum(1) / corners.sum(1)
            for k in (0, 1)
        ]
    )
    reach = np.where(joint.region == Region.FLANGE, centre[0] - lines.wall[-1], centre[1])
    inner = np.exp(-np.maximum(lines.wall[-1] - centre[0], 0.0) / 12e-3)
    deep = np.where(joint.region == Region.FLANGE, np.exp(centre[1] / 10e-3), inner)
    profile = np.interp(reach, rows, kept[hottest, :, place], right=0.0)
    snapshot = Snapshot(
        time=float(time[hottest]),
        angle=float(columns[place]),
        temperature=AIR + 0.97 * deep * profile,
        alive=np.ones(len(profile), dtype=bool),
    )
    runs = tuple(
        SegmentRun(
            number=segment.number,
            start=span[0],
            end=span[1],
            from_angle=segment.run_from,
            to_angle=segment.run_to,
            start_temperature=float(np.interp(span[0], time, starts[:, segment.number - 1])),
            tube_peak=peak,
            flange_peak=float(flange.max()),
            tube_side_wet=0.0 if case.fillet is None else 1.0,
            flange_side_wet=0.0 if case.fillet is None else 1.0,
        )
        for segment, span in zip(plan.segments, spans, strict=True)
    )
    problem = SimpleNamespace(mesh=SimpleNamespace(section=joint, layers=lines.layers))
    arc_on = sum(b - a for a, b in spans)
    return History(
        case=case,
        problem=cast("Problem", problem),
        trace=Trace(time, current, number, angle, tube, flange, starts, probes),
        surfaces=surfaces,
        sides={},
        cell_peak=np.full((len(profile), lines.layers), peak),
        melted_wall=np.zeros(lines.layers),
        lap_filled=1.0,
        hot_clearance=60e-6,
        snapshot=snapshot,
        segments=runs,
        ledger=Ledger(case.arc.power * arc_on, 0.0, 0.0, case.arc.power * arc_on),
        arc_on=arc_on,
        total=total,
        simulated=float(time[-1]),
        steps=steps,
        march="synthetic",
        wall_s=0.0,
    )
