"""Random joints: heat is kept, temperatures stay possible, more of a thing does what it must."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import inf, pi
from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from invariance.small import text_of
from lapheat.case.case import Case
from lapheat.case.file import read_case_text
from lapheat.constants import STEFAN_BOLTZMANN
from lapheat.history.records import History
from lapheat.march.march import march
from lapheat.march.state import State
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.setup import job_of


@dataclass
class Watch:
    """The compiled march, watched: hottest and coldest cell [K], strongest flux [W/m2]."""

    inner: CompiledStepper
    name: str = "compiled"
    hottest: float = -inf
    coldest: float = inf
    flux: float = 0.0

    def advance(self, state: State, dt: float) -> float:
        self.flux = max(self.flux, float(state.heat.max(initial=0.0)))
        lost = self.inner.advance(state, dt)
        self.hottest = max(self.hottest, float(state.skin[0].max()))
        self.coldest = min(self.coldest, float(state.skin[0].min()))
        return lost


def watched(case: Case) -> tuple[History, Watch]:
    job = job_of(case)
    watch = Watch(CompiledStepper(job.problem, threads=1))
    return march(job, watch), watch


def lengths(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False).map(lambda value: round(value, 3))


STEELS = st.sampled_from(["304L", "316L", "321", "409", "low-carbon steel"])


@st.composite
def joints(draw: st.DrawFn) -> Case:
    """A small joint, or a bead on a tube, of one or two short segments in turn."""
    diameter, wall = draw(lengths(8.0, 20.0)), draw(lengths(0.5, 2.0))
    thickness, leg = draw(lengths(1.5, 6.0)), draw(lengths(1.0, 3.0))
    count, runs = draw(st.integers(3, 6)), draw(st.integers(1, 2))
    tables: dict[str, dict[str, Any]] = {
        "tube": {
            "alloy": draw(STEELS),
            "outside_diameter": f"{diameter} mm",
            "wall": f"{wall} mm",
            "length": f"{draw(lengths(10.0, 40.0))} mm",
        },
        "arc": {
            # a thin wall takes less before it boils
            "current": f"{draw(st.floats(0.4, 0.8)) * (30.0 + 25.0 * wall):.1f} A",
            "voltage": "10 V",
            "spot": f"{draw(lengths(1.6, 3.0))} mm",
        },
        "travel": {
            "speed": f"{draw(lengths(2.0, 5.0))} mm/s",
            "segment": f"{1.001 * pi * diameter / count:.6f} mm",
            "pause": f"{draw(lengths(0.2, 4.0))} s",
            "dwell": f"{draw(lengths(0.0, 1.5))} s",
            "taper": f"{draw(st.sampled_from([0.0, 0.4]))} s",
            "overlap": f"{draw(st.sampled_from([0.0, 1.0]))} mm",
            "coverage": runs / count,
        },
        "surroundings": {"temperature": f"{draw(st.integers(-20, 45))} degC"},
        "numerics": {"detail": "coarse"},
    }
    probe: dict[str, Any] = {"name": "wall", "on": "tube", "angle": "20 deg", "height": "5 mm"}
    if draw(st.booleans()) and draw(st.booleans()):
        probe["height"] = "1 mm"
        return read_case_text('joint = "bead-on-tube"\n' + text_of(tables, probe), "random.toml")
    tables["flange"] = {
        "alloy": draw(STEELS),
        "thickness": f"{thickness} mm",
        "outside_diameter": f"{diameter + 2.0 * leg + draw(lengths(2.0, 15.0))} mm",
    }
    tables["lap"] = {
        "depth": f"{thickness * draw(lengths(0.4, 1.0)):.4f} mm",
        "clearance": f"{draw(lengths(0.02, 0.4))} mm",
    }
    tables["fillet"] = {"leg": f"{leg} mm"}
    if draw(st.booleans()):
        tables["fixture"] = {
            "chill_length": f"{draw(lengths(2.0, 15.0))} mm",
            "chill_wall": f"{min(draw(lengths(0.3, 3.0)), 0.49 * diameter - wall)} mm",
            "chill_conductance": f"{draw(st.integers(50, 20000))} W/(m^2 K)",
        }
    if draw(st.booleans()):
        tables.setdefault("fixture", {})["bench_conductance"] = (
            f"{draw(st.integers(10, 5000))} W/(m^2 K)"
        )
    # a tack to come upon, or one laid before
    tack = {"angle": f"{draw(st.integers(0, 180))} deg", "length": "2 mm"}
    if draw(st.booleans()):
        tack |= {"current": "50 A", "time": "2 s"}
    tables["arc"] |= {
        "current": f"{draw(st.integers(45, 80))} A",
        "work_angle": f"{draw(st.integers(25, 65))} deg",
        "aim": f"{draw(lengths(-0.5, 1.5))} mm",
    }
    text = text_of(tables, probe)
    if draw(st.booleans()):
        text += "\n[[tack]]\n" + "\n".join(f'{key} = "{value}"' for key, value in tack.items())
    return read_case_text(text, "random.toml")


def peaks(history: History) -> list[float]:
    """The peaks that outcomes tell of the base, and the probe's [K]."""
    found = [float(np.nanmax(history.trace.tube)), float(history.trace.probes.max())]
    for run in history.segments:
        found += [run.tube_peak, run.flange_peak]
    if history.case.flange is not None:
        found.append(float(np.nanmax(history.trace.flange)))
    return [peak for peak in found if np.isfinite(peak)]


def base(history: History) -> NDArray[np.float64]:
    """Peaks of all faces of tube and flange [K]."""
    names = [name for name in history.surfaces if name != "fillet"]
    return np.concatenate([history.surfaces[name].peak for name in names])


@settings(
    max_examples=16,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow],
)
@given(joints())
def test_random_joint(case: Case) -> None:
    history, watch = watched(case)
    assert abs(history.ledger.imbalance) < 1e-9

    # A hottest place takes in more than it gives away only by what falls on it: nowhere is it
    # hotter than a face that radiates all of the strongest flux (maximum principle).
    air = case.surroundings.temperature
    dullest = min(alloy.emissivity for alloy in case.alloys.values())
    reach = (watch.flux / (dullest * STEFAN_BOLTZMANN) + air**4) ** 0.25
    assert air - 0.5 < watch.coldest
    assert max(watch.hottest, history.cell_peak.max(), *peaks(history)) < reach
    assert max(peaks(history)) > air + 100.0
    for readings in (history.trace.tube, history.trace.probes, history.trace.starts, base(history)):
        assert np.isfinite(readings).all()

    more, _ = watched(replace(case, arc=replace(case.arc, current=1.1 * case.arc.current)))
    assert all(b > a for a, b in zip(peaks(history), peaks(more), strict=True))
    if more.lap_filled == 0.0:
        # filler in the lap opens a way for heat that was shut: without it no face gets cooler
        assert (base(more) > base(history) - 0.5).all()

    if len(history.segments) > 1:
        # in turn, the next start is where the arc went out: from then on it only cools
        longer = replace(case.travel, pause=1.3 * case.travel.pause + 0.3)
        later, _ = watched(replace(case, travel=longer))
        assert later.segments[1].start_temperature < history.segments[1].start_temperature
