"""All studies, small and on runs by formula; other processes import what makes a row of them."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from lapheat.constants import ZERO_CELSIUS
from lapheat.study.calibration.answers import answers_of
from lapheat.study.calibration.answers import most_runs as most_of_answers
from lapheat.study.calibration.caliper.fit import Caliper, advised, fit_beads
from lapheat.study.calibration.caliper.fit import most_runs as most_of_beads
from lapheat.study.calibration.caliper.tracks import BeadRun, BeadRuns, run_bead
from lapheat.study.calibration.files import write_calibration
from lapheat.study.calibration.measured import Beads, Edge, Readings, TrialPieces
from lapheat.study.calibration.points import AnswerRuns, ProbeRun, ProbeRuns, run_probes
from lapheat.study.calibration.readings import calibrate
from lapheat.study.calibration.readings import most_runs as most_of_readings
from lapheat.study.calibration.unknowns import unknowns_of
from lapheat.study.explain.explain import bounds, explain
from lapheat.study.explain.files import write_explain
from lapheat.study.explain.measures import run_explained
from lapheat.study.find.files import write_find
from lapheat.study.find.plan import Effort
from lapheat.study.find.plan import plan_of as find_plan
from lapheat.study.find.seek import most_runs as find_most
from lapheat.study.find.seek import seek
from lapheat.study.find.telling import run_telling
from lapheat.study.risk.files import write_risk
from lapheat.study.risk.risk import assess, plan_of, run_sample
from lapheat.study.runs import Planner, Row, RowFile, Source, Trial, run_trial
from lapheat.study.runs.axes import free_axes, given_axes
from lapheat.study.sequences.files import write_sequences
from lapheat.study.sequences.orders import compare, run_order
from lapheat.study.window.files import write_window
from lapheat.study.window.map import Budget, WindowPlan
from lapheat.study.window.window import window_of
from study.beads import BEAD
from study.benches import TINY, made_up
from study.stand_in import balanced, by_formula, given, hopeless, made_row, smooth, stood_in
from support.formula_joint import TEXT, formulas, formulas_said

JOINT = Source.of(TINY)  # standard of its own, so that coarse runs are compared with it
PROBED = Source(BEAD.replace('"coarse"', '"standard"'), "bead.toml")
TIME = np.arange(0.0, 20.0, 0.5)
SPEED = ("arc.current=40 A:100 A:4", "travel.speed=1 mm/s:4 mm/s:4")
TIMES = ("travel.segment=6 mm:12 mm:2", "travel.pause=5 s:60 s:3")


@dataclass(frozen=True)
class Small:
    """A study: its planner, fresh, what writes its folder, and its runs at most and at least."""

    planner: Callable[[], Planner[Any]]
    write: Callable[[Any, Path, RowFile], tuple[Path, ...]]
    most: tuple[int, int] | None = None
    least: tuple[int, int] = (0, 0)


def in_order(trial: Trial) -> Row:
    """Row of an order by formula: named ones are told apart by the length of their names."""
    odd, segments = len(dict(trial.inputs)["travel.order"]), [1, 2, 3]
    row = made_row(10.0 + odd, 12.0 - odd, 60.0 + odd)
    peaks = [1200.0 + odd * number for number in segments]
    return {
        **row,
        "spread_K": 2.0 * odd,
        "hottest_start_C": 90.0 + odd,
        "tube_peak_C": max(peaks),
        "arc_on_s": 12.0,
        "ring_peak_C": json.dumps(peaks * 4),
        "numbers": json.dumps(segments),
        "start_C": json.dumps([20.0, 50.0, 90.0 + odd]),
        "segment_peak_C": json.dumps(peaks),
    }


def warmed(task: ProbeRun) -> Row:
    """Histories by formula: the nearer a probe, the more it sees of the spot."""
    efficiency, spot = given(task.trial, "arc.efficiency", 0.75), given(task.trial, "arc.spot", 2.0)
    time = np.arange(0.0, max(task.until, 30.0), 0.5)
    pulse = 800.0 * efficiency * time / 4.0 * np.exp(1.0 - time / 4.0)
    row: Row = {"failed": None, "time_s": json.dumps(time.tolist())}
    for name, apart in (("near", 2.0), ("mid", 4.0), ("far", 9.0)):
        moves = (0.5, -0.5, 0.0, 0.0) if task.beside else ()
        sides = zip([name, *(f"{name} <{n}" for n in (1, 2, 3, 4))], (0.0, *moves), strict=False)
        for side, move in sides:
            seen = np.exp(-(apart + move) / (2.0 + spot))
            row[f"{side}_C"] = json.dumps([round(20.0 + seen * value, 4) for value in pulse])
    return row


def tracked(task: BeadRun) -> Row:
    """A track by formula: a bell as wide as the spot, over a broad one, both by heat over speed."""
    efficiency, spot = given(task.trial, "arc.efficiency", 0.75), given(task.trial, "arc.spot", 2.0)
    heat = efficiency * given(task.trial, "arc.current", 40.0)
    heat /= 1e3 * given(task.trial, "travel.speed", 2e-3)
    place = np.linspace(-25.0, 25.0, 101)
    bell = np.exp(-0.5 * (place / spot) ** 2) / spot
    row: Row = {"failed": None, "place_m": json.dumps((1e-3 * place).tolist())}
    for side, share in (("outside", 120.0), ("bore", 90.0)):
        peak = 293.0 + heat * (share * bell + 50.0 * np.exp(-np.abs(place) / 9.0))
        row[f"{side}_K"] = json.dumps([round(value, 3) for value in peak.tolist()])
    return row


def pierced(trial: Trial) -> Row:
    """A joint that melts above 52.5 A of heat and wets above 42."""
    heat = given(trial, "arc.current", 66.0) * given(trial, "arc.efficiency", 0.75)
    return {"failed": None, "margin_K": 20.0 * (52.5 - heat), "surplus_K": 15.0 * (heat - 42.0)}


def record() -> Readings:
    """What noisy thermocouples would have shown of another efficiency and spot, by a late clock."""
    at = (("arc.efficiency", "0.68"), ("arc.spot", "2.3 mm"))
    row = warmed(ProbeRun(Trial(PROBED, at), 40.0))
    time = np.array(json.loads(str(row["time_s"])))
    names = ("near", "mid")
    shown = [np.interp(TIME - 1.0, time, json.loads(str(row[f"{name}_C"]))) for name in names]
    noise = 3.0 * np.random.default_rng(2).normal(size=(len(TIME), len(names)))
    return Readings(names, TIME, np.stack(shown, axis=1) + ZERO_CELSIUS + noise)


def window(
    vary: tuple[str, ...],
    formula: Callable[[Trial], Row],
    free: str = "",
    sure: float | None = None,
) -> Small:
    case = JOINT.case()
    axes = given_axes(vary, case)
    few = Budget(first=32, rounds=1, looks=8, fresh=16, tries=2, pool=64, nodes=81)
    plan = WindowPlan(JOINT, axes, free_axes(free, case, axes), sure=sure, budget=few)
    return Small(lambda: stood_in(window_of(plan), by_formula(formula)), write_window)


def find() -> Small:
    source = Source(TEXT.replace('"coarse"', '"standard"'), "find.toml")
    few = Effort(first=16, rounds=1, more=1, looks=6, fresh=8, candidates=128)
    plan = replace(find_plan(source, 0.9), effort=few)
    return Small(
        lambda: stood_in(seek(plan), {run_trial: formulas, run_telling: formulas_said}),
        write_find,
        find_most(plan),
        plan.least_runs,
    )


def turned(trial: Trial) -> Row:
    """A joint by formula: current and aim heat both parts; the own mesh runs a little cooler."""
    current = given(trial, "arc.current", 40.0) / 40.0
    aim, speed = given(trial, "arc.aim", 0.0), given(trial, "travel.speed", 3.0) / 3.0
    heat = 1000.0 * current**1.3 / speed**0.4 - (8.0 if trial.detail is None else 0.0)
    margins = 1400.0 - heat - 60.0 * (1.5 - aim), 1490.0 - heat - 30.0 * aim
    sides = heat - 1025.0 + 10.0 * (1.5 - aim), heat - 1080.0 + 25.0 * aim
    wanted = given(trial, "limits.base_margin", 50.0)
    failing = [("tube.margin_K", margins[0] < wanted), ("flange.margin_K", margins[1] < wanted),
               ("filler.tube_side_surplus_K", sides[0] < 10.0),
               ("filler.flange_side_surplus_K", sides[1] < 10.0)]  # fmt: skip
    return {
        **made_row(min(margins) - wanted, min(sides) - 10.0, 40.0 + 30.0 / speed),
        "tube_margin_K": margins[0],
        "flange_margin_K": margins[1],
        "tube_side_surplus_K": sides[0],
        "flange_side_surplus_K": sides[1],
        "stretch_surplus_K": min(sides) + 2.0,
        "flange_side_wet": 1.0 if sides[1] >= 10.0 else 0.5,
        "superheat_K": 200.0,
        "lap_filled": 0.1,
        "findings": json.dumps([[name, f"{name} fails"] for name, bad in failing if bad]),
        "on_limit": False,
        "cold_start": False,
    }


def explained(*changes: str) -> Small:
    source = Source.of(TINY, changes)
    return Small(
        lambda: stood_in(explain(source), {run_explained: partial(_changed, changes)}),
        write_explain,
        *bounds(source.case(), "coarse"),
    )


def _changed(changes: tuple[str, ...], trial: Trial) -> Row:
    """Row by formula of a trial whose case was changed before."""
    before = dict(change.split("=") for change in changes)
    return turned(Trial(trial.source, tuple((before | dict(trial.inputs)).items()), trial.detail))


def readings(free_clock: bool) -> Small:
    told = unknowns_of(PROBED.case(), "efficiency,spot")
    runs = ProbeRuns(PROBED, told, "coarse", ("near", "mid"), float(TIME[-1]))
    return Small(
        lambda: stood_in(calibrate(runs, record(), free_clock), {run_probes: warmed}),
        write_calibration,
        most_of_readings(runs, free_clock),
    )


def answers() -> Small:
    current = np.array([50.0, 60.0, 70.0, 80.0, 90.0, 70.0])
    melted, wet = np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0]), np.array([0.0, 1.0, 1.0, 1.0, 1.0, 0.0])
    runs = AnswerRuns(JOINT, unknowns_of(JOINT.case(), "efficiency"), "coarse", np.unique(current))
    pieces = TrialPieces(current, melted, wet)
    return Small(
        lambda: stood_in(answers_of(runs, pieces, 40.0), {run_trial: pierced}),
        write_calibration,
        (most_of_answers(runs), 0),
    )


def widths() -> Small:
    edges = (
        Edge("melt_outside_width", "melt", "outside", np.nan),
        Edge("tint_bore_width", "tint", "bore", 673.15),
    )
    found = np.array([[4.2, 16.0], [5.5, np.nan], [3.3, 13.3]]) * 1e-3
    current, speed = np.array([44.0, 50.0, 40.0]), np.array([2e-3, 2e-3, 2e-3])
    beads = Beads(current, speed, edges, found, "mm/s", "mm")
    told = unknowns_of(PROBED.case(), "efficiency,spot")
    runs = BeadRuns(
        PROBED, told, "coarse", tuple(zip(current.tolist(), speed.tolist(), strict=True))
    )

    def planner() -> Planner[Caliper]:
        return (yield from advised(runs, (yield from fit_beads(runs, beads, 0.3e-3))))

    most = most_of_beads(runs, beads), 0
    return Small(lambda: stood_in(planner(), {run_bead: tracked}), write_calibration, most)


STUDIES = {
    "window": window(SPEED, smooth),
    "window where nothing works": window(SPEED, hopeless),
    "window with free keys": window(TIMES, balanced, "arc.current=50 A:100 A,arc.aim=-2 mm:4 mm"),
    "window of one key": window(SPEED[:1], smooth),
    "window that is sure": window(SPEED, smooth, sure=0.9),
    "sequences": Small(
        lambda: stood_in(
            compare(JOINT, ("in-turn", "opposite", "backstep", "[1, 3, 2]")), {run_order: in_order}
        ),
        write_sequences,
    ),
    "risk": Small(
        lambda: stood_in(assess(plan_of(JOINT, "coarse", 128, seed=3)), {run_sample: made_up}),
        write_risk,
    ),
    "explain": explained(),
    "explain what works": explained("arc.current=46 A", "arc.aim=1 mm"),
    "explain what cannot work": explained("limits.base_margin=600 K"),
    "find": find(),
    "calibration to readings": readings(free_clock=False),
    "calibration to readings by a free clock": readings(free_clock=True),
    "calibration to answers": answers(),
    "calibration to widths": widths(),
}
