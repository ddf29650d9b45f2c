"""What a verdict rests on has settled: from the standard mesh to the fine one it hardly moves."""

from __future__ import annotations

from pathlib import Path

import pytest

from lapheat import read_case, simulate

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.slow
@pytest.mark.parametrize("name", ["flue-stub", "flue-stub-cold", "flue-stub-hot"])
def test_surplus_and_wet_share_move_little_from_standard_to_fine(name: str) -> None:
    """By less than 10 K and 0.02; found 9 K for the cold sibling, shares 0.009."""
    one, two = (
        simulate(read_case(CASES / f"{name}.toml", detail=detail)).outcomes
        for detail in ("standard", "fine")
    )
    assert one.filler is not None
    assert two.filler is not None
    assert two.filler.coldest_C == pytest.approx(one.filler.coldest_C, abs=10.0)
    for side in ("tube", "flange"):
        wet = f"{side}_side_wet"
        assert getattr(two.filler, wet) == pytest.approx(getattr(one.filler, wet), abs=0.02)
        surplus = f"{side}_side_surplus_K"
        assert getattr(two.filler, surplus) == pytest.approx(getattr(one.filler, surplus), abs=10.0)
    assert two.verdict.base_stays_solid == one.verdict.base_stays_solid
    assert two.verdict.filler_flows == one.verdict.filler_flows
    assert abs(two.heat.imbalance) < 1e-9
