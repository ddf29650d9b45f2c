"""Fills the outcomes from a history: every number of `outcomes.json`."""

from __future__ import annotations

import platform
from functools import cache
from importlib.metadata import version
from math import degrees, isfinite

import numpy as np
from numpy.typing import NDArray

from ..case.case import Case
from ..constants import ZERO_CELSIUS
from ..history.records import History, SegmentRun
from ..version import __version__
from .alloys import held_notes, highest
from .current import current_of, gas_time
from .findings import Judgement, SideFacts
from .outcomes import (
    AlloyNotes,
    ChillOutcome,
    FillerOutcome,
    FlangeOutcome,
    HeatOutcome,
    MarchOutcome,
    MeshOutcome,
    Number,
    Outcomes,
    ProbeOutcome,
    SegmentOutcome,
    Spans,
    SuppliesOutcome,
    TimeOutcome,
    TubeOutcome,
    Verdict,
)
from .soundness import soundness_of
from .verdict import BRIEF, FASTEST_FEED, filler_place, hottest_place, judge, liquid_times

__all__ = ["outcomes_of"]

Array = NDArray[np.float64]
PACKAGES = ("numpy", "scipy", "numba", "fipy")


def outcomes_of(history: History) -> Outcomes:
    """Read the outcomes off a run."""
    case, problem = history.case, history.problem
    ledger, judgement = history.ledger, judge(history)
    electrical = _electrical(history, case)
    return Outcomes(
        verdict=Verdict.of(judgement),
        tube=_tube(history, case),
        flange=_flange(history, case),
        filler=_filler(history, case, judgement),
        segments=tuple(_segment(run) for run in history.segments),
        current=current_of(history),
        time=TimeOutcome(history.arc_on, history.total, history.simulated),
        heat=HeatOutcome(
            arc_J=ledger.arc,
            filler_J=ledger.filler,
            lost_J=ledger.lost,
            stored_J=ledger.stored,
            imbalance=ledger.imbalance,
            electrical_J=electrical,
            air_J=ledger.lost - ledger.chill - ledger.bench,
            chill_J=ledger.chill,
            bench_J=ledger.bench,
        ),
        probes=_probes(history, case),
        mesh=MeshOutcome(problem.mesh.cells, problem.mesh.layers, case.detail),
        march=MarchOutcome(history.steps, history.march, history.wall_s),
        versions=dict(_versions()),
        soundness=soundness_of(history),
        strength=judgement.strength,
        supplies=_supplies(history, case, electrical),
        chill=None
        if case.fixture.chill is None
        else ChillOutcome(history.chill_peak - ZERO_CELSIUS),
        alloys=AlloyNotes(held_notes(history, case)),
    )


def _celsius(kelvin: float | None) -> Number:
    return None if kelvin is None or not isfinite(kelvin) else float(kelvin) - ZERO_CELSIUS


def _share(value: float) -> Number:
    return value if isfinite(value) else None


def _tube(history: History, case: Case) -> TubeOutcome:
    solidus = case.alloys[case.tube.alloy].solidus
    place = hottest_place(history, "tube")
    return TubeOutcome(
        peak_C=_celsius(place.peak),
        solidus_C=_celsius(solidus),
        margin_K=None if solidus is None else solidus - place.peak,
        bore_peak_C=_celsius(highest(history.surfaces["tube bore"].peak)),
        melted_wall_fraction=float(history.melted_wall.max()),
        peak_surface=place.surface,
        peak_position_m=place.position,
        peak_angle_deg=degrees(place.angle),
    )


def _flange(history: History, case: Case) -> FlangeOutcome | None:
    if case.flange is None:
        return None
    solidus = case.alloys[case.flange.alloy].solidus
    place = hottest_place(history, "flange")
    return FlangeOutcome(
        peak_C=_celsius(place.peak),
        solidus_C=_celsius(solidus),
        margin_K=None if solidus is None else solidus - place.peak,
        peak_surface=place.surface,
        peak_position_m=place.position,
        peak_angle_deg=degrees(place.angle),
    )


def _filler(history: History, case: Case, judgement: Judgement) -> FillerOutcome | None:
    if not judgement.sides:
        return None
    flow = judgement.flow
    tube, flange = sorted(judgement.sides, key=lambda side: side.name, reverse=True)
    cold = min(judgement.sides, key=lambda side: side.coldest)
    hot = filler_place(history)
    times = liquid_times(history)

    def dry(side: SideFacts) -> Spans:
        return tuple((degrees(span.begin), degrees(span.end)) for span in side.spans)

    return FillerOutcome(
        flow_C=flow - ZERO_CELSIUS,
        wets_at_C=flow + case.limits.flow_margin - ZERO_CELSIUS,
        peak_C=None if hot is None else hot.peak - ZERO_CELSIUS,
        peak_angle_deg=None if hot is None else degrees(hot.angle),
        superheat_K=None if hot is None else hot.peak - flow,
        tube_side_wet=tube.share,
        flange_side_wet=flange.share,
        tube_side_surplus_K=tube.level - flow,
        flange_side_surplus_K=flange.level - flow,
        stretch_surplus_K=min(tube.stretch_level, flange.stretch_level) - flow,
        coldest_C=cold.coldest - ZERO_CELSIUS,
        coldest_side=cold.name,
        coldest_from_root_m=cold.from_root,
        coldest_angle_deg=degrees(cold.where.angle),
        coldest_segment=cold.where.segment,
        longest_dry_m=max(tube.longest, flange.longest),
        tube_side_dry_deg=dry(tube),
        flange_side_dry_deg=dry(flange),
        shortest_liquid_s=float(times.min()) if times.size else None,
        median_liquid_s=float(np.median(times)) if times.size else None,
        brief_share=float((times < BRIEF).mean()) if times.size else 0.0,
    )


def _supplies(history: History, case: Case, electrical: float) -> SuppliesOutcome:
    joint, seconds = case.brazed, gas_time(history)
    return SuppliesOutcome(
        rod_m=0.0 if joint is None else history.rod / joint.filler.density / joint.fillet.wire_area,
        filler_kg=history.rod,
        argon_m3=case.supplies.argon_flow * seconds,
        gas_s=seconds,
        arc_energy_J=electrical,
        feed_m_s=case.feed,
        fed_by_hand=case.feed <= FASTEST_FEED,
    )


def _segment(run: SegmentRun) -> SegmentOutcome:
    return SegmentOutcome(
        number=run.number,
        start_s=run.start,
        end_s=run.end,
        from_deg=degrees(run.from_angle),
        to_deg=degrees(run.to_angle),
        start_C=run.start_temperature - ZERO_CELSIUS,
        tube_peak_C=_celsius(run.tube_peak),
        flange_peak_C=_celsius(run.flange_peak),
        tube_side_wet=_share(run.tube_side_wet),
        flange_side_wet=_share(run.flange_side_wet),
        wait_s=run.wait,
        flowed_at_start=run.flowed,
    )


def _electrical(history: History, case: Case) -> float:
    """Volts x amps x time [J]."""
    trace = history.trace
    amps = trace.current[1:]
    volts = np.array([case.arc.voltage_at(current) for current in amps])
    return float((volts * amps) @ np.diff(trace.time))


def _probes(history: History, case: Case) -> dict[str, ProbeOutcome]:
    result = {}
    for column, probe in enumerate(case.probes):
        readings = history.trace.probes[:, column]
        top = int(readings.argmax())
        result[probe.name] = ProbeOutcome(
            float(readings[top]) - ZERO_CELSIUS, float(history.trace.time[top])
        )
    return result


@cache
def _versions() -> dict[str, str]:
    return {
        "lapheat": __version__,
        "python": platform.python_version(),
        **{name: version(name) for name in PACKAGES},
    }
