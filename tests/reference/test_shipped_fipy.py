"""The shipped cases through FiPy's own terms: their first segment at coarse, and the cooling after.

A whole ring through FiPy takes a quarter of an hour. Run once by hand on the demo (10 segments,
25 thousand cells): tube and flange peaks within 0.3 %, filler 0.8 %, start temperatures 0.7 % of
the rise, wet shares within 0.02 a segment.

Not held here, and not understood yet: in `flue-stub-cold` the filler's peak at the very start of
the first run is 1.6 % higher through FiPy (20 K; the compiled march keeps its value to 3 K down to
steps a hundred times as fine). Tube, bore and flange agree.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import lapheat.march
from lapheat import read_case, simulate
from lapheat.outcomes import Outcomes

CASES = Path(__file__).parents[2] / "cases"


def temperatures(out: Outcomes) -> dict[str, float]:
    """Every temperature of the contract [degC]."""
    found = {"tube": out.tube.peak_C, "bore": out.tube.bore_peak_C}
    if out.flange is not None and out.filler is not None:
        found |= {"flange": out.flange.peak_C, "filler": out.filler.peak_C}
    for segment in out.segments:
        found[f"tube of segment {segment.number}"] = segment.tube_peak_C
    return found | {name: probe.peak_C for name, probe in out.probes.items()}


@pytest.mark.parametrize("name", ["flue-stub-hot", "thin-sleeve", "test-bead"])
def test_first_segment_agrees(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 1 % of the rise, wet shares within 0.02."""
    monkeypatch.setattr(lapheat.march, "COOL_AT_MOST", 5.0)  # both marches alike, to save time
    monkeypatch.setattr(lapheat.march, "COOL_AT_LEAST", 2.0)
    case = read_case(CASES / f"{name}.toml", ["travel.coverage=0.05"], "coarse")
    assert round(0.05 * case.segment_count) <= 1
    ours, theirs = (simulate(case, march=m, threads=1).outcomes for m in ("compiled", "fipy"))
    one, other = temperatures(ours), temperatures(theirs)
    assert one.keys() == other.keys()
    for key, value in one.items():
        assert other[key] == pytest.approx(value, abs=0.01 * (value - 20.0) + 0.05), key
    if ours.filler is not None and theirs.filler is not None:
        assert ours.filler.tube_side_wet == pytest.approx(theirs.filler.tube_side_wet, abs=0.02)
        assert ours.filler.flange_side_wet == pytest.approx(theirs.filler.flange_side_wet, abs=0.02)
    assert abs(theirs.heat.imbalance) < 1e-8
