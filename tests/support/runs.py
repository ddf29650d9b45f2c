"""Made-up runs with a known answer, for tests of what judges, writes and tells a run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from types import SimpleNamespace
from typing import TYPE_CHECKING, cast

import numpy as np
from numpy.typing import NDArray

from lapheat.case.case import Display
from lapheat.history.records import History, Side, SurfacePeaks
from lapheat.history.wetting import wet_share
from support.synthetic import FLOW, STAINLESS_SOLIDUS, make_case, make_history

if TYPE_CHECKING:
    from lapheat.problem.problem import Problem

Array = NDArray[np.float64]

FACES = 4  # of each side under the fillet
WET = FLOW + 80.0

Stretch = tuple[float, float, float]  # from, to [deg], peak there [K]


@cache
def _plain(bead: bool, coverage: float, display: Display | None) -> History:
    case = make_case(bead=bead, coverage=coverage, display=display)
    return make_history(case, peak=STAINLESS_SOLIDUS - 150.0)


def _raised(surface: SurfacePeaks, peak: float) -> SurfacePeaks:
    """Give the surface this highest peak, where its highest one was, and nothing above it."""
    values = np.minimum(surface.peak, peak)
    values[np.unravel_index(surface.peak.argmax(), values.shape)] = peak
    return replace(surface, peak=values)


def _side(layers: int, laid: NDArray[np.bool_], dry: tuple[Stretch, ...], leg: float) -> Side:
    angle = (np.arange(layers) + 0.5) * 360.0 / layers
    peak = np.full((FACES, layers), WET)
    for begin, end, kelvin in dry:
        inside = (angle > begin) & (angle < end)
        if end > 360.0:
            inside |= angle < end - 360.0
        peak[:, inside] = kelvin
    peak[:, ~laid] = np.nan
    return Side(
        edges=np.linspace(0.0, leg, FACES + 1),
        area=np.ones(FACES),
        peak=peak,
        liquid=np.where(laid, 2.0, np.nan) * np.ones((FACES, 1)),
    )


def run_with(
    tube: float = STAINLESS_SOLIDUS - 150.0,
    flange: float | None = None,
    tube_dry: tuple[Stretch, ...] = (),
    flange_dry: tuple[Stretch, ...] = (),
    *,
    bead: bool = False,
    coverage: float = 1.0,
    melted: float = 0.0,
    display: Display | None = None,
    case: Mapping[str, object] | None = None,
) -> History:
    """Return a run with these peaks [K], dry where told, `melted` share of the wall.

    `case` replaces fields of its case.
    """
    history = _plain(bead, coverage, display)
    told = history.case
    changed = replace(told, **cast("dict[str, object]", case or {}))  # type: ignore[arg-type]
    mesh = history.problem.mesh
    layers = mesh.layers
    problem = SimpleNamespace(
        mesh=SimpleNamespace(section=mesh.section, layers=layers, cells=17 * layers),
    )
    surfaces = dict(history.surfaces)
    surfaces["tube outside"] = _raised(surfaces["tube outside"], tube)
    if not bead:
        top = tube - 60.0 if flange is None else flange
        surfaces["flange face"] = _raised(surfaces["flange face"], top)
    history = replace(
        history,
        case=changed,
        problem=cast("Problem", problem),
        surfaces=surfaces,
        melted_wall=np.full(layers, melted),
    )
    if bead:
        return replace(
            history,
            segments=tuple(
                replace(run, flange_peak=np.nan, tube_side_wet=np.nan, flange_side_wet=np.nan)
                for run in history.segments
            ),
        )
    per = layers // told.segment_count
    laid = np.zeros(layers, dtype=np.bool_)
    for run in history.segments:
        laid[(run.number - 1) * per : run.number * per] = True
    sides = {
        name: _side(layers, laid, dry, told.fillet.leg)
        for name, dry in (("tube", tube_dry), ("flange", flange_dry))
    }
    wets_at = FLOW + changed.limits.flow_margin
    shares = {name: wet_share(side.peak, side.area, wets_at) for name, side in sides.items()}

    def share(name: str, number: int) -> float:
        return float(shares[name][(number - 1) * per : number * per].mean())

    return replace(
        history,
        sides=sides,
        segments=tuple(
            replace(
                run,
                tube_side_wet=share("tube", run.number),
                flange_side_wet=share("flange", run.number),
            )
            for run in history.segments
        ),
    )
