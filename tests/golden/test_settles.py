"""What a verdict rests on has settled: from the standard mesh to the fine one it hardly moves."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from lapheat import read_case, simulate
from lapheat.outcomes.outcomes import Outcomes
from lapheat.outcomes.verdict import MAY_MOVE

CASES = Path(__file__).parents[2] / "cases"


@cache
def outcomes(name: str, detail: str) -> Outcomes:
    """Run a shipped case."""
    return simulate(read_case(CASES / f"{name}.toml", detail=detail)).outcomes


@pytest.mark.slow
@pytest.mark.parametrize("name", ["flue-stub", "flue-stub-cold"])
def test_surplus_and_wet_share_move_little_from_standard_to_fine(name: str) -> None:
    """By less than 10 K and 0.02; found 9 K for the cold sibling, shares 0.009.

    Measured once, too long for every run: the hot sibling by 3 K, the starter by 2 K.
    """
    one, two = (outcomes(name, detail) for detail in ("standard", "fine"))
    assert one.filler is not None
    assert two.filler is not None
    assert two.filler.coldest_C == pytest.approx(one.filler.coldest_C, abs=10.0)
    for side in ("tube", "flange"):
        wet = f"{side}_side_wet"
        assert getattr(two.filler, wet) == pytest.approx(getattr(one.filler, wet), abs=0.02)
    assert two.verdict.base_stays_solid == one.verdict.base_stays_solid
    assert two.verdict.filler_flows == one.verdict.filler_flows
    assert abs(two.heat.imbalance) < 1e-9


def decides(name: str, detail: str) -> dict[str, float]:
    """Margins and surpluses by name [K]."""
    found = outcomes(name, detail)
    assert found.flange is not None
    assert found.filler is not None
    told = {
        "tube margin": found.tube.margin_K,
        "flange margin": found.flange.margin_K,
        "tube side surplus": found.filler.tube_side_surplus_K,
        "flange side surplus": found.filler.flange_side_surplus_K,
    }
    return {key: value for key, value in told.items() if value is not None}


@pytest.mark.slow
@pytest.mark.parametrize("name", ["flue-stub", "flue-stub-cold"])
@pytest.mark.parametrize("detail", ["coarse", "standard"])
def test_no_margin_or_surplus_moves_more_to_fine_than_is_said(detail: str, name: str) -> None:
    """`MAY_MOVE` is measured on these: 31.0 K from coarse, 10.0 K from standard at most."""
    here, fine = decides(name, detail), decides(name, "fine")
    assert here.keys() == fine.keys()
    assert len(here) == 4
    for key, value in fine.items():
        assert abs(here[key] - value) <= MAY_MOVE[detail], key
