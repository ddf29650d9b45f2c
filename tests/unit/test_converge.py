"""Three meshes: estimates of known order, the verdict that heeds them, `--converge`."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import replace
from math import inf, nan, pi, tan
from pathlib import Path
from typing import Any

import pytest
from scipy.optimize import brentq

import lapheat.api
import lapheat.report.figures
from lapheat.api import Result, converge, simulate
from lapheat.case.alloys import builtin
from lapheat.case.case import Case, Limits
from lapheat.case.file import read_case_text
from lapheat.cli import main
from lapheat.cli.terminal.progress import Meter
from lapheat.history.records import History
from lapheat.joint.lines import DETAILS
from lapheat.march.march import Progress
from lapheat.outcomes.answer import outcomes_of
from lapheat.outcomes.convergence import TOE, Estimate, convergence_of, grid_convergence
from lapheat.outcomes.outcomes import Verdict
from lapheat.outcomes.sentence import summary_of
from lapheat.outcomes.verdict import judge
from unit.runs import run_with
from unit.synthetic import FLOW, STAINLESS_SOLIDUS

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
    assert sorted(verdict) == ["base_stays_solid", "filler_flows", "summary"]


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


# ---- the command ------------------------------------------------------------------------------

CASE = """
[tube]
outside_diameter = "1.5 in"
wall = "0.065 in"
[flange]
thickness = "1/4 in"
outside_diameter = "4 in"
[arc]
current = "90 A"
voltage = "11 V"
[travel]
speed = "2 mm/s"
segment = "5/8 in"
pause = "20 s"
[numerics]
detail = "coarse"
"""

HALVED = "half steps"
ALL = [HALVED, *DETAILS]

Call = Callable[..., tuple[int, str, str]]
Runs = Mapping[str, Mapping[str, Any] | BaseException]


@pytest.fixture
def call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> Call:
    """Call the command line in a folder with one case: status, stdout, stderr."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "stub.toml").write_text(CASE, "utf-8")

    def run(*arguments: str) -> tuple[int, str, str]:
        monkeypatch.setattr(sys, "argv", ["lapheat", *arguments])
        with pytest.raises(SystemExit) as left:
            main()
        out, err = capfd.readouterr()
        return int(left.value.code or 0), out, err

    return run


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> Callable[[Runs], list[str]]:
    """Put made-up runs, one a detail, in the place of the march; tells which were asked for."""

    def use(by_detail: Runs) -> list[str]:
        asked: list[str] = []

        def run(case: Case, *rest: object) -> Result:
            halved = len(rest) == 4 and rest[3] == 2.0
            asked.append(HALVED if halved else case.detail)
            what = by_detail[case.detail]
            if halved:
                what = by_detail.get(HALVED, what)
            if isinstance(what, BaseException):
                raise what
            history = run_with(**what, case={"detail": case.detail})
            return Result(case, history, outcomes_of(history))

        def save(_: History, where: Path) -> tuple[Path, ...]:
            where.mkdir()
            (where / "peaks.png").write_bytes(b"png")
            return (where / "peaks.png",)

        monkeypatch.setattr(lapheat.api, "simulate", run)
        monkeypatch.setattr(lapheat.report.figures, "save_figures", save)
        return asked

    return use


# Order 1 towards 49 K: the fine mesh has 57 K, give or take 1.25 x 8 K, where 50 K are wanted.
DOUBTFUL = [49.0 + 8.0 * DETAILS["fine"].per_spot / d.per_spot for d in DETAILS.values()]


def margins(*kelvin: float) -> Runs:
    cold = 1200.0  # the flange
    told = zip(DETAILS, kelvin, strict=True)
    return {d: {"tube": STAINLESS_SOLIDUS - margin, "flange": cold} for d, margin in told}


def result_in(folder: str) -> tuple[Any, Any]:
    out = Path(folder)
    files = [out / name for name in ("outcomes.json", "convergence.json")]
    outcomes, convergence = (json.loads(file.read_text("utf-8")) for file in files)
    return outcomes, convergence


def test_a_doubtful_margin_is_not_solid(call: Call, computed: Any) -> None:
    asked = computed(margins(*DOUBTFUL))
    status, out, err = call("run", "stub.toml", "--converge")
    assert (status, err, asked) == (0, "", ALL)
    outcomes, convergence = result_in("stub.out")
    assert outcomes["verdict"]["base_stays_solid"] is False
    assert outcomes["verdict"]["filler_flows"] is True
    assert outcomes["verdict"]["too_close"] == ["tube.margin_K"]
    assert outcomes["mesh"]["detail"] == "fine"
    assert outcomes["tube"]["margin_K"] == pytest.approx(57.0)
    assert 'detail = "fine"' in Path("stub.out/case.toml").read_text("utf-8")
    assert f"Verdict: {outcomes['verdict']['summary']}" in out.splitlines()
    assert "It is too close to call whether the tube stays solid" in out

    assert [mesh["detail"] for mesh in convergence["meshes"]] == list(DETAILS)
    row = convergence["outcomes"][0]
    sizes = [mesh["size_m"] for mesh in convergence["meshes"]]
    wanted = grid_convergence(DOUBTFUL, sizes)
    assert wanted.uncertainty == pytest.approx(10.0)
    assert row == {
        "outcome": "tube.margin_K",
        **{name: pytest.approx(value) for name, value in zip(DETAILS, DOUBTFUL, strict=True)},
        "kind": "converging",
        "order": pytest.approx(wanted.order),
        "factor": 1.25,
        "half_steps": pytest.approx(DOUBTFUL[0]),
        "mesh_uncertainty": pytest.approx(wanted.uncertainty),
        "step_uncertainty": 0.0,
        "uncertainty": pytest.approx(wanted.uncertainty),
        "extrapolated": pytest.approx(wanted.extrapolated),
    }
    (line,) = [line for line in out.splitlines() if line.startswith("tube margin ")]
    values = [f"{value:.1f} K" for value in DOUBTFUL]
    assert re.split(r"\s{2,}", line) == ["tube margin", *values, "1.0", "0.0 K", "10.0 K"]
    assert re.search(
        r"^tube side wet +100.0 % +100.0 % +100.0 % +constant +0.0 % +0.0 %$", out, re.M
    )
    assert "convergence.json" in out


def test_what_half_steps_change_is_added(call: Call, computed: Any) -> None:
    """57 K, give or take 5 K for the meshes alone, where 50 K are wanted."""
    sure = [53.0 + 4.0 * DETAILS["fine"].per_spot / d.per_spot for d in DETAILS.values()]
    computed(margins(*sure))
    call("run", "stub.toml", "--converge")
    assert result_in("stub.out")[0]["verdict"]["too_close"] == []
    computed({**margins(*sure), HALVED: {"tube": STAINLESS_SOLIDUS - sure[0] - 3.0}})
    _, out, _ = call("run", "stub.toml", "--converge")
    outcomes, convergence = result_in("stub.out")
    assert outcomes["verdict"]["too_close"] == ["tube.margin_K"]
    row = convergence["outcomes"][0]
    assert row["half_steps"] == pytest.approx(sure[0] + 3.0)
    assert row["step_uncertainty"] == pytest.approx(3.0)
    assert row["uncertainty"] == pytest.approx(5.0 + 3.0)
    assert re.search(r"^tube margin .* 3\.0 K +8\.0 K$", out, re.M)


def test_status_of_a_doubtful_margin_when_asked_for(call: Call, computed: Any) -> None:
    computed(margins(*DOUBTFUL))
    assert call("run", "stub.toml", "--converge", "--fail-on-verdict")[0] == 1
    computed(margins(170.0, 162.0, 157.0))
    assert call("run", "stub.toml", "--converge", "--fail-on-verdict")[0] == 0


@pytest.mark.parametrize(
    ("runs", "summary"),
    [
        (margins(170.0, 162.0, 157.0), "The base stays solid and the fillet wets on both sides: "),
        (margins(30.0, 22.0, 18.0), "The tube comes too close to melting: "),
        (margins(-30.0, -38.0, -43.0), "The tube melts: "),
    ],
)
def test_a_margin_away_from_its_limit_is_judged_as_ever(
    call: Call, computed: Any, runs: Runs, summary: str
) -> None:
    computed(runs)
    call("run", "stub.toml", "--converge", "--out", "three")
    computed(runs)
    call("run", "stub.toml", "--detail", "fine", "--out", "one")
    verdict = result_in("three")[0]["verdict"]
    assert verdict["summary"].startswith(summary)
    assert verdict.pop("too_close") == []
    assert verdict == json.loads(Path("one/outcomes.json").read_text("utf-8"))["verdict"]


def test_a_doubtful_share_does_not_flow(call: Call, computed: Any) -> None:
    computed({d: {"flange_dry": ((0.0, 40.0, FLOW + above),)}
              for d, above in zip(DETAILS, (30.0, 20.0, 15.0), strict=True)})  # fmt: skip
    _, out, _ = call("run", "stub.toml", "--converge")
    outcomes, _ = result_in("stub.out")
    assert outcomes["filler"]["flange_side_wet"] == 1.0
    assert outcomes["verdict"]["base_stays_solid"] is True
    assert outcomes["verdict"]["filler_flows"] is False
    assert outcomes["verdict"]["too_close"] == ["filler.flange_side_surplus_K"]
    assert "too close to call whether the filler flows on the flange side" in out


def test_without_the_option_nothing_changes(call: Call, computed: Any) -> None:
    computed(margins(*DOUBTFUL))
    call("run", "stub.toml", "--converge")
    asked = computed(margins(*DOUBTFUL))
    _, out, _ = call("run", "stub.toml")
    assert asked == ["coarse"]
    assert "three meshes" not in out
    assert not Path("stub.out/convergence.json").exists()  # an earlier one is out of date
    outcomes = json.loads(Path("stub.out/outcomes.json").read_text("utf-8"))
    assert outcomes["verdict"]["base_stays_solid"] is True
    assert "too_close" not in outcomes["verdict"]


@pytest.mark.parametrize(
    ("error", "status"), [(KeyboardInterrupt(), 130), (ZeroDivisionError(), 3)]
)
def test_a_run_that_breaks_on_the_last_mesh_writes_nothing(
    call: Call, computed: Any, error: BaseException, status: int
) -> None:
    asked = computed({**margins(*DOUBTFUL), "fine": error})
    found, out, err = call("run", "stub.toml", "--converge")
    assert (found, out, asked) == (status, "", ALL)
    assert "nothing was written" in err
    assert [path.name for path in Path().iterdir()] == ["stub.toml"]


def test_a_detail_beside_all_three_is_refused(call: Call, computed: Any) -> None:
    asked = computed({})
    status, out, err = call("run", "stub.toml", "--converge", "--detail", "coarse")
    assert (status, out, asked) == (2, "", [])
    assert "--converge, which runs coarse, standard and fine" in err


def test_progress_tells_the_mesh() -> None:
    meter = Meter(None, case_of(run_with()), 100.0)
    where = Progress(1, 0, 3, 12.34, 900.0, 700.0)
    assert meter.text(where).startswith("segment 1 (1 of 3)")
    meter(Progress(3, 3, 3, 50.0, 900.0, 700.0))
    meter.start("fine mesh, ")
    assert meter.text(where).startswith("fine mesh, segment 1 (1 of 3)")


# ---- for real ---------------------------------------------------------------------------------

BEAD = """
joint = "bead-on-tube"
[tube]
outside_diameter = "20 mm"
wall = "2 mm"
length = "20 mm"
[arc]
current = "40 A"
spot = "5 mm"
[travel]
speed = "5 mm/s"
segment = "16 mm"
pause = "1 s"
coverage = 0.25
"""


def test_a_small_bead_on_three_meshes() -> None:
    case = read_case_text(BEAD, "bead.toml")
    asked = []

    def run(case: Case, shorter: float) -> Result:
        asked.append((case.detail, shorter))
        return simulate(case, threads=1, shorter=shorter)

    result = converge(case, run)
    assert asked == [("coarse", 2.0), *((detail, 1.0) for detail in DETAILS)]
    assert result.case.detail == result.outcomes.mesh.detail == "fine"
    assert result.convergence is not None
    cells = [grid.cells for grid in result.convergence.grids]
    assert cells == sorted(set(cells))
    margin = result.convergence.rows[0]
    assert margin.values[2] == result.outcomes.tube.margin_K
    assert 0.0 < margin.estimate.uncertainty < margin.uncertainty
    assert margin.uncertainty < 0.05 * (1400.0 - margin.values[2])
    assert result.outcomes.verdict.too_close == ()
