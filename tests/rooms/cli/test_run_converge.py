"""`lapheat run --converge`: what is computed, told, written and refused."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

import lapheat.api
import lapheat.report.figures
import lapheat.report.sheet
from lapheat.api import Result
from lapheat.case.case import Case
from lapheat.cli.terminal.progress import Meter
from lapheat.history.records import History
from lapheat.joint.lines import DETAILS
from lapheat.march.march import Progress
from lapheat.outcomes.convergence import grid_convergence
from lapheat.outcomes.from_history import outcomes_of
from support.commands import Call
from support.runs import run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS

pytestmark = pytest.mark.usefixtures("folder")  # with stub.toml in it

HALVED = "half steps"
ALL = [HALVED, *DETAILS]

Runs = Mapping[str, Mapping[str, Any] | BaseException]


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> Callable[[Runs], list[str]]:
    """Put made-up runs, one a detail, in the place of the march; tells which were asked for."""

    def use(by_detail: Runs) -> list[str]:
        asked: list[str] = []

        def run(case: Case, *rest: object, hours: float, **_: object) -> Result:
            assert hours == 2.0
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
        monkeypatch.setattr(lapheat.report.sheet, "save_sheet", lambda *_: ())
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
    case = run_with().case
    meter = Meter(None, case, 100.0)
    where = Progress(1, 0, 3, 12.34, 900.0, 700.0)
    assert meter.text(where).startswith("segment 1 (1 of 3)")
    meter(Progress(3, 3, 3, 50.0, 900.0, 700.0))
    meter.start("fine mesh, ")
    assert meter.text(where).startswith("fine mesh, segment 1 (1 of 3)")
