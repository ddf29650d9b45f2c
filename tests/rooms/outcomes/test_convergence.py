"""Three meshes: estimates of known order, and the verdict that heeds them."""

from __future__ import annotations

import re
from dataclasses import replace
from math import inf, nan, pi, tan
from typing import Any

import pytest
from scipy.optimize import brentq

from lapheat.case.alloys import builtin
from lapheat.case.case import Case, Limits
from lapheat.history.records import History
from lapheat.joint.lines import DETAILS
from lapheat.outcomes.convergence import TOE, Estimate, convergence_of, grid_convergence
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Verdict
from lapheat.outcomes.sentence import summary_of
from lapheat.outcomes.verdict import judge
from support.runs import run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS

EVEN = (4.0, 2.0, 1.0)
SIZES = [EVEN, (1 / 2.2, 1 / 3.5, 1 / 5.6), (9.0, 2.0, 1.5), (2.0, 1.5, 1.0)]


# ---- the estimate -----------------------------------------------------------------------------


def exact(
    order: float, sizes: tuple[float, ...], end: float = 7.0, slope: float = -3.0
) -> Estimate:
    """Estimate of end + slope h^order."""
    return grid_convergence([end + slope * h**order for h in sizes], sizes)


@pytest.mark.parametrize("sizes", SIZES)
@pytest.mark.parametrize("order", [0.3, 0.95, 1.0, 1.53, 2.0, 2.15, 3.0, 4.5])
@pytest.mark.parametrize("slope", [-3.0, 0.01])
def test_observed_order_is_the_one_put_in(
    sizes: tuple[float, ...], order: float, slope: float
) -> None:
    found = exact(order, sizes, slope=slope)
    assert found.kind == "converging"
    assert found.order == pytest.approx(order, abs=1e-6)
    assert found.value == 7.0 + slope * sizes[2] ** order


@pytest.mark.parametrize("sizes", SIZES)
@pytest.mark.parametrize("order", [1.0, 1.53, 2.0])
def test_a_sane_order_gives_a_quarter_more_than_the_true_error(
    sizes: tuple[float, ...], order: float
) -> None:
    found = exact(order, sizes)
    assert found.uncertainty == pytest.approx(1.25 * 3.0 * sizes[2] ** order, rel=1e-6)
    assert found.factor == 1.25
    assert found.extrapolated == pytest.approx(7.0, abs=1e-6)


@pytest.mark.parametrize("sizes", SIZES)
@pytest.mark.parametrize("order", [0.5, 0.89, 0.91, 2.19, 2.21, 3.0, 6.0])
def test_other_orders_are_held_and_still_cover_the_true_error(
    sizes: tuple[float, ...], order: float
) -> None:
    found = exact(order, sizes)
    sane = 0.9 < order < 2.2
    assert found.factor == (1.25 if sane else 3.0)
    assert (found.extrapolated is not None) is sane
    assert found.uncertainty > 3.0 * sizes[2] ** order


def test_held_orders_by_hand() -> None:
    low = exact(0.5, EVEN)  # differences 6 - 3 sqrt 2 and 3 sqrt 2 - 3: the last one, at order 1
    assert low.uncertainty == pytest.approx(3.0 * (3.0 * 2.0**0.5 - 3.0) / (2.0 - 1.0))
    high = exact(3.0, EVEN)  # differences 168 and 21: the first one, at order 2
    assert high.uncertainty == pytest.approx(3.0 * 168.0 / (4.0 - 1.0) / 4.0)


@pytest.mark.parametrize("base", ["304L", "316L", "321", "low-carbon steel"])
@pytest.mark.parametrize("kelvin", [900.0, 1300.0, 1500.0])
def test_order_at_the_toe_of_a_fillet_is_sane(base: str, kelvin: float) -> None:
    """Half a plane of base and 45 degrees of filler: r^p cos(p angle) on each, heat tight outside.

    Temperature and flow agree across the joint where k_1 tan(p pi) + k_2 tan(p pi / 4) = 0.
    """
    k = [float(builtin(name).k(kelvin)) for name in (base, "CuSi3Mn1")]
    order = brentq(lambda p: k[0] * tan(p * pi) + k[1] * tan(0.25 * p * pi), 0.501, 0.999)
    assert TOE < order < 0.7
    values = [1300.0 + 40.0 * h**order for h in EVEN]
    assert grid_convergence(values, EVEN, TOE).factor == 1.25
    assert grid_convergence(values, EVEN).factor == 3.0  # elsewhere it is no order to believe
    alike = brentq(lambda p: tan(p * pi) + tan(0.25 * p * pi), 0.501, 0.999)
    assert alike == pytest.approx(180.0 / 225.0)  # one material: pi over the angle of the metal


# Celik, Ghia, Roache, Freitas, Coleman and Raad 2008, J. Fluids Eng. 130, 078001, table 1, first
# two columns; from memory. Cells 18000, 8000, 4500 and 18000, 4500, 980 in two dimensions.
CELIK = [
    ((5.863, 5.972, 6.063), (2.0, 1.5, 1.0), 1.53, 6.1685),
    ((10.6050, 10.7250, 10.7880), (2.0 * 2.144, 2.0, 1.0), 0.75, 10.8801),
]


@pytest.mark.parametrize(("values", "sizes", "order", "_extrapolated"), CELIK)
def test_published_orders(
    values: tuple[float, ...], sizes: tuple[float, ...], order: float, _extrapolated: float
) -> None:
    assert grid_convergence(values, sizes).order == pytest.approx(order, abs=0.005)


def test_published_index() -> None:
    """Extrapolated value 6.1685, fine grid convergence index 2.2 % (Celik et al., from memory)."""
    values, sizes, _, extrapolated = CELIK[0]
    found = grid_convergence(values, sizes)
    assert found.extrapolated == pytest.approx(extrapolated, abs=5e-5)
    assert 100.0 * found.uncertainty / found.value == pytest.approx(2.2, abs=0.05)


@pytest.mark.parametrize(
    ("values", "kind", "uncertainty"),
    [
        ((5.0, 5.0, 5.0), "constant", 0.0),
        ((0.0, 0.0, 0.0), "constant", 0.0),
        ((700.0, 700.0 + 1e-8, 700.0 - 1e-8), "constant", 0.0),  # round-off
        ((1.0, 2.0, 1.5), "oscillating", 3.0),
        ((1.0, 2.0, -1.0), "oscillating", 9.0),
        ((1.0, 2.0, 3.5), "diverging", 7.5),
        ((1.0, 2.0, 3.0), "diverging", 6.0),  # order zero: there is no end in sight
        ((1.0, 1.0, 0.97), "diverging", 0.09),
        ((0.96, 1.0, 1.0), "converging", 3.0 * 0.04 / 3.0 / 4.0),  # held at order 2
    ],
)
def test_no_order_to_be_seen(values: tuple[float, ...], kind: str, uncertainty: float) -> None:
    found = grid_convergence(values, EVEN)
    assert found.kind == kind
    assert found.uncertainty == pytest.approx(uncertainty, abs=1e-12)
    assert (found.value, found.order, found.extrapolated) == (values[2], None, None)


def test_equal_differences_converge_or_not_as_the_meshes_are_spaced() -> None:
    assert grid_convergence((1.0, 2.0, 3.0), (6.0, 2.0, 1.0)).kind == "diverging"
    found = grid_convergence((1.0, 2.0, 3.0), (6.0, 3.0, 1.0))
    assert found.kind == "converging"
    assert found.order is not None
    assert 6.0**found.order - 3.0**found.order == pytest.approx(3.0**found.order - 1.0)


@pytest.mark.parametrize("values", [(700.0, 690.0, 685.0), (1.0, 3.0, 2.5), (1.0, 2.0, 4.0)])
def test_neither_the_zero_nor_the_sign_of_a_scale_matters(values: tuple[float, ...]) -> None:
    found = grid_convergence(values, EVEN)
    for other in (
        grid_convergence([v + 273.15 for v in values], EVEN),
        grid_convergence([-v for v in values], EVEN),
    ):
        assert other.kind == found.kind
        assert other.uncertainty == pytest.approx(found.uncertainty)
        assert other.order == pytest.approx(found.order)


@pytest.mark.parametrize(
    ("values", "sizes"),
    [
        ((1.0, 2.0), (2.0, 1.0)),
        ((1.0, nan, 3.0), EVEN),
        ((1.0, 2.0, inf), EVEN),
        ((1.0, 2.0, 3.0), (1.0, 2.0, 4.0)),
        ((1.0, 2.0, 3.0), (2.0, 1.0, 1.0)),
        ((1.0, 2.0, 3.0), (2.0, 1.0, 0.0)),
    ],
)
def test_what_is_no_three_meshes_is_refused(
    values: tuple[float, ...], sizes: tuple[float, ...]
) -> None:
    with pytest.raises(ValueError, match="values"):
        grid_convergence(values, sizes)


# ---- the verdict ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("margin", "unsure", "solid", "close"),
    [
        (60.0, 0.0, True, False),
        (60.0, 9.9, True, False),
        (60.0, 10.1, False, True),
        (40.0, 10.1, False, True),
        (40.0, 9.9, False, False),
        (-20.0, 69.0, False, False),
        (-20.0, 71.0, False, True),
    ],
)
def test_a_margin_inside_its_uncertainty_is_too_close_to_call(
    margin: float, unsure: float, solid: bool, close: bool
) -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - margin, flange=1200.0)
    verdict = Verdict.of(judge(run, uncertainty={"tube.margin_K": unsure}))
    assert verdict.base_stays_solid is solid
    assert verdict.filler_flows
    assert verdict.too_close == (("tube.margin_K",) if close else ())
    assert ("too close to call" in verdict.summary) is close


def test_what_is_too_close_is_told_in_a_sentence() -> None:
    """3 % of the flange side is 9 K below flow; 95 % of it has 80 K above."""
    run = run_with(tube=STAINLESS_SOLIDUS - 57.0, flange=1200.0)
    unsure = {"tube.margin_K": 10.4, "filler.flange_side_surplus_K": 71.0}
    verdict = Verdict.of(judge(run, uncertainty=unsure))
    assert not verdict.filler_flows
    assert verdict.too_close == tuple(unsure)
    assert verdict.summary.startswith(
        "It is too close to call whether the tube stays solid: it peaks at 1343 degC, 57 K, give "
        "or take 10 K, below its solidus of 1400 degC where 50 K are wanted, on its outside "
    )
    assert verdict.summary.endswith(
        "; it is too close to call whether the filler flows on the flange side: the wanted share "
        "of it peaks 80 K, give or take 71 K, above the filler's flow at 1025 degC where 10 K are "
        "wanted."
    )


def test_a_dry_stretch_may_be_too_close_to_call() -> None:
    run = run_with(flange_dry=((180.0, 200.0, FLOW - 9.0),), case={"limits": Limits(50.0, 0.9)})
    sure = judge(run, uncertainty={"filler.stretch_surplus_K": 18.0})
    assert sure.too_close == ()
    assert not sure.filler_flows
    doubt = judge(run, uncertainty={"filler.stretch_surplus_K": 25.0})
    assert doubt.too_close == ("filler.stretch_surplus_K",)
    assert "all of it but short stretches peaks" in summary_of(doubt)


def test_a_sure_fault_is_told_before_a_doubt() -> None:
    run = run_with(tube=STAINLESS_SOLIDUS + 30.0, flange=1200.0)
    summary = summary_of(judge(run, uncertainty={"filler.tube_side_surplus_K": 90.0}))
    assert re.match(r"The tube melts: .*; it is too close to call whether the filler", summary)


def test_without_meshes_nothing_is_said() -> None:
    verdict = outcomes_of(run_with()).as_dict()["verdict"]
    assert sorted(verdict) == ["also_look_at", "base_stays_solid", "filler_flows", "summary"]


# ---- the comparison ---------------------------------------------------------------------------


def runs(**changes: Any) -> list[History]:
    return [
        run_with(tube=STAINLESS_SOLIDUS - margin, case={"detail": detail}, **changes)
        for detail, margin in zip(DETAILS, (170.0, 162.0, 157.0), strict=True)
    ]


def case_of(history: History) -> Case:
    case = history.case
    assert case is not None
    return case


def test_every_outcome_has_a_row_that_is_found_in_the_outcomes() -> None:
    three = [outcomes_of(run) for run in runs()]
    told = convergence_of(case_of(run_with()), three, three[0])
    names = [row.outcome for row in told.rows]
    segments = [f"segments[{k}].start_C" for k in range(8)]
    assert names == [
        "tube.margin_K",
        "flange.margin_K",
        "tube.bore_peak_C",
        "filler.tube_side_wet",
        "filler.flange_side_wet",
        "filler.tube_side_surplus_K",
        "filler.flange_side_surplus_K",
        "filler.stretch_surplus_K",
        "filler.coldest_C",
        *segments,
        *(f"probes.{name}.peak_C" for name in ("T1", "T2", "plate")),
    ]
    for row in told.rows:
        for run, value in zip(three, row.values, strict=True):
            found: Any = run.as_dict()
            for key in re.findall(r"[^.\[\]]+", row.outcome):
                found = found[int(key) if key.isdigit() else key]
            assert found == pytest.approx(value)
    per_spot = [detail.per_spot for detail in DETAILS.values()]
    assert [grid.size for grid in told.grids] == pytest.approx([1.6e-3 / k for k in per_spot])
    margin = told.rows[0].estimate
    assert margin == grid_convergence((170.0, 162.0, 157.0), [g.size for g in told.grids], TOE)
    assert told.uncertainty["tube.margin_K"] == margin.uncertainty


def test_what_a_joint_does_not_have_has_no_row() -> None:
    three = runs(bead=True)
    made = [outcomes_of(run) for run in three]
    told = convergence_of(case_of(three[0]), made, made[0])
    assert not [row for row in told.rows if row.outcome.startswith(("flange", "filler"))]
    case = case_of(three[0])
    alloys = {
        name: replace(alloy, solidus=None, liquidus=None, latent_heat=None)
        for name, alloy in case.alloys.items()
    }
    three = [run_with(bead=True, case={"alloys": alloys, "detail": d}) for d in DETAILS]
    made = [outcomes_of(run) for run in three]
    told = convergence_of(case, made, made[0])
    assert told.rows[0].outcome == "tube.bore_peak_C"


def test_the_three_meshes_must_be_those_three() -> None:
    three = [outcomes_of(run) for run in runs()]
    with pytest.raises(ValueError, match="coarse, standard, fine"):
        convergence_of(case_of(run_with()), three[::-1], three[0])
    with pytest.raises(ValueError, match="coarse, standard, fine"):
        convergence_of(case_of(run_with()), three[:2], three[0])
