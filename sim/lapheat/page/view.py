"""What the browser draws of a run: plain numbers in the user's units, and frames as bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import pairwise
from math import isfinite
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..api import Result
from ..case.faults import printable
from ..constants import ZERO_CELSIUS
from ..history.records import History
from ..outcomes.sentence import notes_of, sentence, sentences_of
from ..outcomes.wording import Wording
from ..report.figures.section import near_view, view_of
from ..report.figures.style import Units, levels_of
from ..study.runs.slacks import LABELS, slacks_of
from .words import in_page

__all__ = ["frames_of", "run_view"]

Array = NDArray[np.float64]

SHOWN = ("tube outside", "tube bore", "flange face")
POINTS = 700  # of a trace, at most
ROWS, LAYERS, FRAMES = 18, 72, 60  # of the part in three dimensions, at most
DECI = 10.0  # frames are in tenths of a kelvin


def run_view(result: Result) -> dict[str, Any]:
    """Everything the page shows of a run but the frames."""
    history, outcomes = result.history, result.outcomes
    case, words, units = history.case, Wording.of(history.case), Units.of(history.case)
    judgement, levels = outcomes.verdict.judgement, levels_of(history)
    told = {
        "title": printable(case.title),
        "solid": outcomes.verdict.base_stays_solid,
        "flows": outcomes.verdict.filler_flows,
        "undecided": judgement.undecided,
        "brazed": case.fillet is not None,
        "sentences": [_told(sentence(each)) for each in sentences_of(judgement, words)],
        "notes": [_told(sentence(each)) for each in notes_of(judgement, words)],
        "assumed": [_told(each) for each in (*case.assumed, *outcomes.alloys.held)],
        "numbers": list(_numbers(result)),
        "unit": {"length": units.length, "temperature": units.degree},
        "levels": {
            "flow": _hot(units, levels.flow),
            "tube": _hot(units, levels.tube),
            "flange": _hot(units, levels.flange),
        },
        "surfaces": [_surface(history, name, units) for name in SHOWN if name in history.surfaces],
        "trace": _trace(history, units),
        "section": _section(history, units),
        "segments": [_segment(each, units) for each in outcomes.as_dict()["segments"]],
        "total_s": outcomes.time.total_s,
    }
    return told | {"solid_view": _solid(history, units)}


def _told(text: str) -> str:
    return printable(in_page(text))


def _hot(units: Units, kelvin: float) -> float | None:
    value = float(units.hot(np.asarray(kelvin)))
    return round(value, 1) if isfinite(value) else None


def _numbers(result: Result) -> Iterator[dict[str, Any]]:
    """Rows of the table of margins: label, value, what is wanted, how it compares.

    What decides comes first, each outcome against its limit; the rest is held against nothing.
    """
    outcomes, case, filler = result.outcomes, result.case, result.outcomes.filler
    words, close = Wording.of(case), outcomes.verdict.too_close or ()
    unsure = {} if result.convergence is None else result.convergence.uncertainty

    def value(outcome: str) -> float | None:
        table, _, name = outcome.partition(".")
        found: float | None = getattr(getattr(outcomes, table), name, None)
        return found

    for slack in slacks_of(value, case.limits):
        share = slack.limit == "limits.lap_filled"
        told: Callable[..., str] = words.share if share else words.apart
        found = value(slack.outcome)
        assert found is not None  # else it has no slack
        most = slack.limit == "limits.filler_superheat"
        state = "holds" if slack.kelvin >= 0.0 else "fails"
        yield _row(
            LABELS[slack.outcome],
            told(found, 0.0, slack.wanted),
            f"at {'most' if most else 'least'} {told(slack.wanted)}",
            "close" if slack.outcome in close else state,
            told(unsure[slack.outcome]) if slack.outcome in unsure else "",
        )
    if filler is not None:
        for side, wet in (("tube", filler.tube_side_wet), ("flange", filler.flange_side_wet)):
            if wet is not None:
                yield _row(f"{side} side wet", words.share(wet, case.limits.wet_fraction))
        if filler.longest_dry_m is not None and filler.longest_dry_m >= 0.5e-4:  # not "0.0 mm"
            yield _row("longest dry stretch", words.long(filler.longest_dry_m))
        if filler.superheat_K is not None and case.limits.filler_superheat is None:
            yield _row(LABELS["filler.superheat_K"], words.apart(filler.superheat_K))
        if not case.limits.lap_filled:
            yield _row(LABELS["soundness.lap_filled"], words.share(outcomes.soundness.lap_filled))
    yield _row("mesh", case.detail)
    yield _row("whole time", f"{outcomes.time.total_s:.0f} s")
    yield _row("arc on", f"{outcomes.time.arc_on_s:.0f} s")


def _row(
    name: str, value: str, wanted: str = "", state: str = "", unsure: str = ""
) -> dict[str, str]:
    told = {"value": value, "unsure": unsure, "wanted": wanted, "state": state}
    return {"name": name[0].upper() + name[1:]} | told


def _surface(history: History, name: str, units: Units) -> dict[str, Any]:
    surface = history.surfaces[name]
    order = np.argsort(surface.angle % (2.0 * np.pi))
    up = np.argsort(surface.position)
    peak = units.hot(surface.peak[np.ix_(up, order)])
    return {
        "name": name,
        "edges": np.sort(units.long(surface.edges)).round(4).tolist(),
        "layers": len(order),
        "peak": peak.round().astype(int).ravel().tolist(),
    }


def _trace(history: History, units: Units) -> dict[str, Any]:
    """Rows of the trace, thinned by taking the hottest step of every stretch."""
    trace = history.trace
    ends = np.linspace(0, len(trace.time), min(POINTS, len(trace.time)) + 1).astype(int)
    at = [int(a + np.argmax(trace.tube[a:b])) for a, b in pairwise(ends)]
    lines = {"tube": trace.tube, "flange": trace.flange} | {
        f"probe {probe.name}": trace.probes[:, column]
        for column, probe in enumerate(history.case.probes)
    }
    return {
        "time": trace.time[at].round(2).tolist(),
        "current": trace.current[at].round(1).tolist(),
        "segment": trace.segment[at].tolist(),
        "lines": [
            {"name": name, "values": units.hot(values[at]).round().astype(int).tolist()}
            for name, values in lines.items()
            if np.isfinite(values).all()
        ],
    }


def _section(history: History, units: Units) -> dict[str, Any]:
    """Cells of the section at the hottest instant, near the joint."""
    joint, shot, window = history.problem.mesh.section, history.snapshot, view_of(history)
    bead = history.case.fillet is None
    points = units.long(joint.vertices[:, ::-1] if bead else joint.vertices)
    view = units.long(np.array(window))
    near = near_view(points, joint.cells, view)
    return {
        "view": view.round(4).tolist(),
        "time": round(shot.time, 1),
        "angle": round(float(np.degrees(shot.angle)) % 360.0, 1),
        "points": points.round(4).tolist(),
        "cells": [[int(i) for i in cell if i >= 0] for cell in joint.cells[near]],
        "part": joint.region[near].tolist(),
        "alive": shot.alive[near].tolist(),
        "values": units.hot(shot.temperature[near]).round().astype(int).tolist(),
    }


def _segment(told: dict[str, Any], units: Units) -> dict[str, Any]:
    def hot(name: str) -> float | None:
        return None if told.get(name) is None else _hot(units, told[name] + ZERO_CELSIUS)

    return {
        "number": told["number"],
        "from": told["from_deg"],
        "to": told["to_deg"],
        "start_s": told["start_s"],
        "end_s": told["end_s"],
        "start": hot("start_C"),
        "tube": hot("tube_peak_C"),
        "flange": hot("flange_peak_C"),
        "wet": [told.get("tube_side_wet"), told.get("flange_side_wet")],
    }


def _thinned(count: int, most: int) -> NDArray[np.int64]:
    return np.unique(np.linspace(0, count - 1, min(most, count)).round().astype(np.int64))


def _solid(history: History, units: Units) -> dict[str, Any]:
    """Bodies of revolution that `frames_of` has the temperatures of."""
    case, film = history.case, history.film
    parts = []
    for name in SHOWN:
        if name not in history.surfaces:
            continue
        surface = history.surfaces[name]
        rows, layers = _chosen(history, name)
        place = surface.edges[[*rows, len(surface.edges) - 1]]
        radius = np.full(len(place), case.tube.radius)
        if name == "tube bore":
            radius -= case.tube.wall
        flat = name.startswith("flange")
        r, z = (case.tube.radius + place, 0.0 * place) if flat else (radius, place)
        if flat and case.fillet is not None:
            z = np.maximum(0.0, case.fillet.leg - place)  # the fillet's slope lies over the face
            r = np.maximum(r, case.tube.radius)
        parts.append(
            {
                "name": name,
                "r": units.long(r).round(4).tolist(),
                "z": units.long(z).round(4).tolist(),
                "rows": len(rows),
                "layers": len(layers),
            }
        )
    at = [] if film is None else _thinned(len(film.time), FRAMES).tolist()
    return {
        "parts": parts,
        "time": [] if film is None else film.time[at].round(2).tolist(),
        "segment": [] if film is None else film.segment[at].tolist(),
        "current": [] if film is None else film.current[at].round(1).tolist(),
        "angle": [] if film is None else np.degrees(film.angle[at]).round(1).tolist(),
    }


def _chosen(history: History, name: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows and layers of a surface that are shown; rows near the joint are kept."""
    surface = history.surfaces[name]
    near = np.argsort(np.abs(surface.position))[:ROWS]
    far = _thinned(len(surface.position), ROWS)
    rows = np.unique(np.concatenate([near, far]))
    return rows, _thinned(len(surface.angle), LAYERS)


def frames_of(history: History) -> bytes:
    """Temperatures of the part: the peaks first, then each frame, surface by surface.

    Little-endian whole numbers of two bytes: tenths of a kelvin, rows of a surface in order, round
    the ring in each.
    """
    film = history.film
    frames: list[Array] = []
    names = [name for name in SHOWN if name in history.surfaces]
    chosen = {name: np.ix_(*_chosen(history, name)) for name in names}
    frames += [history.surfaces[name].peak[chosen[name]] for name in names]
    if film is not None:
        for index in _thinned(len(film.time), FRAMES):
            frames += [film.surfaces[name][index][chosen[name]].astype(float) for name in names]
    flat = np.concatenate([frame.ravel() for frame in frames])
    return np.clip(np.nan_to_num(DECI * flat), 0, 65535).round().astype("<u2").tobytes()
