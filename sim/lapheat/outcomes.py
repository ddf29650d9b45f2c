# ruff: noqa: N815 - names carry the unit, as `outcomes.json` has them
"""History -> outcomes: the numbers of `outcomes.json`, under its own names.

Temperatures are in degC and everything else in SI, as the suffix of each name says. A number that
does not exist (the solidus of an alloy that never melts) is None and stands as null in the file;
a table that does not exist (the flange of a bead-on-tube) is left out of it.
"""

from __future__ import annotations

import platform
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass
from functools import cache
from importlib.metadata import version
from math import degrees, isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .case import Case
from .constants import ZERO_CELSIUS
from .currents import CurrentOutcome, current_of
from .history import History, SegmentRun
from .notes import filler_peak, held_notes, highest
from .verdict import Verdict, dry_spans, hottest_place, judge, side_wet
from .version import __version__

__all__ = [
    "AlloyNotes",
    "ChillOutcome",
    "CurrentOutcome",
    "FillerOutcome",
    "FlangeOutcome",
    "HeatOutcome",
    "MarchOutcome",
    "MeshOutcome",
    "Outcomes",
    "ProbeOutcome",
    "SegmentOutcome",
    "SoundnessOutcome",
    "TimeOutcome",
    "TubeOutcome",
    "outcomes_of",
]

Array = NDArray[np.float64]
Number = float | None
Spans = tuple[tuple[float, float], ...]

DIGITS = 10  # significant ones in the file
PACKAGES = ("numpy", "scipy", "numba", "fipy")


@dataclass(frozen=True)
class TubeOutcome:
    """The tube: hottest surface, where it is, and how deep the wall melted (0 to 1)."""

    peak_C: Number
    solidus_C: Number
    margin_K: Number
    bore_peak_C: Number
    melted_wall_fraction: float
    peak_surface: str
    peak_position_m: float
    peak_angle_deg: float


@dataclass(frozen=True)
class FlangeOutcome:
    """The flange: hottest surface and where it is."""

    peak_C: Number
    solidus_C: Number
    margin_K: Number
    peak_surface: str
    peak_position_m: float
    peak_angle_deg: float


@dataclass(frozen=True)
class FillerOutcome:
    """The filler: wet share of each side, and the angles between which a side has dry spots."""

    flow_C: float
    peak_C: Number
    tube_side_wet: float
    flange_side_wet: float
    tube_side_dry_deg: Spans
    flange_side_dry_deg: Spans


@dataclass(frozen=True)
class SegmentOutcome:
    """One segment, in the order they were run; `start_C` is the base when the arc strikes.

    The arc stood for `wait_s` before it travelled; `flowed_at_start` tells whether the wanted
    share of both sides of the start point was then at filler flow.
    """

    number: int
    start_s: float
    end_s: float
    from_deg: float
    to_deg: float
    start_C: float
    tube_peak_C: Number
    flange_peak_C: Number
    tube_side_wet: Number
    flange_side_wet: Number
    wait_s: float
    flowed_at_start: bool | None


@dataclass(frozen=True)
class TimeOutcome:
    """Arc time; first arc to last arc-off; the same with the cooling that was marched."""

    arc_on_s: float
    total_s: float
    simulated_s: float


@dataclass(frozen=True)
class HeatOutcome:
    """The heat ledger; `electrical_J` is volts x amps x time, before the efficiency.

    `lost_J` is all that left the joint: the sum of `air_J`, `chill_J` and `bench_J`.
    """

    arc_J: float
    filler_J: float
    lost_J: float
    stored_J: float
    imbalance: float
    electrical_J: float
    air_J: float
    chill_J: float
    bench_J: float


@dataclass(frozen=True)
class ProbeOutcome:
    """A thermocouple's highest reading and when it came."""

    peak_C: float
    peak_s: float


@dataclass(frozen=True)
class MeshOutcome:
    """Cells of the ring, and layers round it."""

    cells: int
    layers: int
    detail: str


@dataclass(frozen=True)
class MarchOutcome:
    """Steps and wall-clock time."""

    steps: int
    name: str
    wall_s: float


@dataclass(frozen=True)
class SoundnessOutcome:
    """Share of the lap's area that filler reached, and its smallest gap while hot.

    The gap is the radial one while filler could still enter; below 0 the tube would outgrow its
    bore by so much.
    """

    lap_filled: float
    hot_clearance_m: float


@dataclass(frozen=True)
class ChillOutcome:
    """The heat-sink ring in the bore."""

    peak_C: float


@dataclass(frozen=True)
class AlloyNotes:
    """A sentence for the properties used outside the range it was published for."""

    held: tuple[str, ...]


@dataclass(frozen=True)
class Outcomes:
    """What `outcomes.json` holds; None for a part the joint does not have."""

    verdict: Verdict
    tube: TubeOutcome
    flange: FlangeOutcome | None
    filler: FillerOutcome | None
    segments: tuple[SegmentOutcome, ...]
    current: CurrentOutcome
    time: TimeOutcome
    heat: HeatOutcome
    probes: Mapping[str, ProbeOutcome]
    mesh: MeshOutcome
    march: MarchOutcome
    versions: Mapping[str, str]
    soundness: SoundnessOutcome | None
    chill: ChillOutcome | None
    alloys: AlloyNotes

    def as_dict(self) -> dict[str, Any]:
        """Return plain dicts, lists and numbers for JSON, floats to ten significant digits."""
        whole: dict[str, Any] = _plain(self)
        return whole


def _plain(value: Any) -> Any:
    if is_dataclass(value):
        items = {field.name: getattr(value, field.name) for field in fields(value)}
        # Of the whole, a part that is not there is left out; a number that is not there is null.
        if isinstance(value, Outcomes | Verdict):
            items = {name: item for name, item in items.items() if item is not None}
        return {name: _plain(item) for name, item in items.items()}
    if isinstance(value, Mapping):
        return {name: _plain(item) for name, item in value.items()}
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if isfinite(value) else None
    return value


def outcomes_of(history: History) -> Outcomes:
    """Read the outcomes off a run.

    Raises
    ------
    ValueError
        The problem was built by hand: without a case there are no limits to hold it against.
    """
    problem = history.problem
    case = problem.case
    if case is None:
        raise ValueError("a problem built by hand, without a case, has no outcomes")
    ledger = history.ledger
    return Outcomes(
        verdict=judge(history),
        tube=_tube(history, case),
        flange=_flange(history, case),
        filler=_filler(history, case),
        segments=tuple(_segment(run) for run in history.segments),
        current=current_of(history),
        time=TimeOutcome(history.arc_on, history.total, history.simulated),
        heat=HeatOutcome(
            arc_J=ledger.arc,
            filler_J=ledger.filler,
            lost_J=ledger.lost,
            stored_J=ledger.stored,
            imbalance=ledger.imbalance,
            electrical_J=_electrical(history, case),
            air_J=ledger.lost - ledger.chill - ledger.bench,
            chill_J=ledger.chill,
            bench_J=ledger.bench,
        ),
        probes=_probes(history, case),
        mesh=MeshOutcome(problem.mesh.cells, problem.mesh.layers, case.detail),
        march=MarchOutcome(history.steps, history.march, history.wall_s),
        versions=dict(_versions()),
        soundness=None
        if case.lap is None
        else SoundnessOutcome(history.lap_filled, history.hot_clearance),
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


def _filler(history: History, case: Case) -> FillerOutcome | None:
    if case.fillet is None:
        return None
    flow = case.alloys[case.fillet.filler].liquidus
    assert flow is not None  # case files are refused without it

    def dry(peak: Array | None) -> Spans:
        spans = () if peak is None else dry_spans(peak, flow, case.segment_count)
        return tuple((degrees(span.begin), degrees(span.end)) for span in spans)

    return FillerOutcome(
        flow_C=flow - ZERO_CELSIUS,
        peak_C=_celsius(filler_peak(history)),
        tube_side_wet=side_wet(history, "tube"),
        flange_side_wet=side_wet(history, "flange"),
        tube_side_dry_deg=dry(history.tube_side),
        flange_side_dry_deg=dry(history.flange_side),
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
