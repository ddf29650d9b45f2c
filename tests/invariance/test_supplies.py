"""What a job uses, by hand: rod against the fillet's volume, gas, time and energy of the arc."""

from __future__ import annotations

from dataclasses import replace
from math import pi

import numpy as np
import pytest

from invariance.small import SMALL, run, text_of
from lapheat.api import Result
from lapheat.case.case import Supplies
from lapheat.history.records import History
from lapheat.outcomes.current import gas_time
from lapheat.outcomes.from_history import outcomes_of
from support.runs import run_with


@pytest.fixture(scope="module")
def small() -> Result:
    """Four segments of 9.42 mm at 4 mm/s, each after a dwell of 3 s, with pauses of 1 s."""
    return run(text_of(SMALL, fillet__wire_diameter="1.2 mm", supplies__argon_flow="10 L/min"))


def test_rod_and_mass_are_the_volume_of_the_fillet(small: Result) -> None:
    """A triangle of two 1.5 mm legs, round a tube of 12 mm (Pappus)."""
    volume = 0.5 * 1.5e-3**2 * 2.0 * pi * (6e-3 + 0.5e-3)
    found, filler = small.outcomes.supplies, small.case.alloys["CuSi3Mn1"]
    assert found.filler_kg == pytest.approx(volume * filler.density, rel=1e-12)
    assert found.rod_m == pytest.approx(volume / (0.25 * pi * 1.2e-3**2), rel=1e-12)


def test_time_gas_and_energy_by_hand(small: Result) -> None:
    arc = 4.0 * 3.0 + pi * 12.0 / 4.0  # dwells, and once round at 4 mm/s
    time, found = small.outcomes.time, small.outcomes.supplies
    assert time.arc_on_s == pytest.approx(arc, rel=1e-12)
    assert time.total_s == pytest.approx(arc + 3.0, rel=1e-12)
    # 0.5 s before and 8 s after are longer than each pause of 1 s: gas is never off between
    assert found.gas_s == pytest.approx(arc + 3.0 + 8.5, rel=1e-12)
    assert found.argon_m3 == pytest.approx(10e-3 / 60.0 * (arc + 11.5), rel=1e-11)
    assert found.arc_energy_J == pytest.approx(70.0 * 10.0 * arc, rel=1e-12)
    assert found.arc_energy_J == small.outcomes.heat.electrical_J


def gas_of(history: History, pre: float, post: float) -> float:
    gas = Supplies(argon_flow=1e-4, pre_flow=pre, post_flow=post)
    return gas_time(replace(history, case=replace(history.case, supplies=gas)))


@pytest.mark.parametrize(("pre", "post"), [(0.0, 0.0), (0.1, 0.4), (0.4, 0.6), (2.0, 3.0)])
def test_gas_of_each_strike(small: Result, pre: float, post: float) -> None:
    """A pause of 1 s takes what pre- and post-flow last, at most 1 s."""
    by_hand = small.outcomes.time.arc_on_s + pre + post + 3.0 * min(pre + post, 1.0)
    assert gas_of(small.history, pre, post) == pytest.approx(by_hand, rel=1e-12)


def test_gas_does_not_end_where_a_taper_fades() -> None:
    tapered = run(text_of(SMALL, travel__taper="0.5 s", travel__coverage=0.5))
    time = tapered.outcomes.time
    assert gas_of(tapered.history, 0.0, 0.0) == pytest.approx(time.arc_on_s, rel=1e-12)


def test_a_bead_takes_gas_and_energy_but_no_rod() -> None:
    history = run_with(bead=True)
    found = outcomes_of(history).supplies
    assert (found.rod_m, found.filler_kg, found.feed_m_s) == (0.0, 0.0, 0.0)
    on = float(np.diff(history.trace.time)[history.trace.current[1:] > 0.0].sum())
    pauses = history.total - history.arc_on  # 6 s each, shorter than pre- and post-flow
    assert found.gas_s == pytest.approx(on + pauses + 8.5, abs=0.06)
    assert found.arc_energy_J > 0.0


def test_without_an_arc_there_is_no_gas() -> None:
    history = run_with()
    dark = replace(history.trace, current=0.0 * history.trace.current)
    assert gas_time(replace(history, trace=dark)) == 0.0
