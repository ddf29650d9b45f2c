"""The FiPy march against the compiled one under a pedal and a wait for flow."""

from __future__ import annotations

import numpy as np
import pytest

import lapheat.march.march
import lapheat.march.steps
from invariance.small import SMALL, text_of
from lapheat import simulate
from lapheat.api import Result
from lapheat.case.file import read_case_text
from lapheat.outcomes.current import pressed


def closes(result: Result) -> None:
    """The ledger closes, and volts x amps x efficiency is what entered."""
    heat = result.outcomes.heat
    assert abs(heat.imbalance) < 1e-9
    entered = result.case.arc.efficiency * heat.electrical_J
    assert heat.arc_J + heat.filler_J == pytest.approx(entered, rel=1e-9)


def test_both_marches_have_the_same_hand(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lapheat.march.march, "COOL_AT_MOST", 0.2)
    monkeypatch.setattr(lapheat.march.march, "COOL_AT_LEAST", 0.2)
    text = text_of(SMALL, travel__start="on-flow", travel__coverage=0.1, travel__speed="12 mm/s",
                   travel__segment="4.8 mm", arc__control="pedal", arc__hold="1450 degC",
                   arc__current="100 A", arc__aim="1 mm", flange__thickness="2 mm",
                   flange__outside_diameter="18 mm", tube__length="10 mm")  # fmt: skip
    case = read_case_text(text, "small.toml")
    ours, theirs = (simulate(case, march=m, threads=1) for m in ("compiled", "fipy"))
    for result in (ours, theirs):
        closes(result)
        assert result.outcomes.segments[0].flowed_at_start
    waits = [result.outcomes.segments[0].wait_s for result in (ours, theirs)]
    assert waits[0] == pytest.approx(waits[1], abs=0.02)  # 1 % of the rise, at its rate
    assert waits[0] > 0.5
    one, other = (pressed(result.history) for result in (ours, theirs))
    assert np.ptp(one.current) > 10.0
    ends = np.cumsum(one.seconds)
    others = np.interp(ends, np.cumsum(other.seconds), other.current)
    before = ends < min(waits)  # then one sets off a little before the other
    np.testing.assert_allclose(one.current[before], others[before], rtol=0.02)
