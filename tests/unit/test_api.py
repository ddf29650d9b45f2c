"""The public names, and one real run: the code of the README, from case file to result folder."""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest

import lapheat
from lapheat.api import Result
from lapheat.case.alloys import builtin_names
from lapheat.case.file import read_case, read_case_text
from lapheat.history.records import History
from lapheat.history.wetting import wet_share
from lapheat.march import expected
from lapheat.march.march import Progress
from unit.test_outcomes import KEYS

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")

NAMES = [
    "Case",
    "CaseError",
    "History",
    "MarchError",
    "Outcomes",
    "Result",
    "ResultError",
    "__version__",
    "case_to_toml",
    "converge",
    "outcomes_of",
    "read_case",
    "simulate",
    "write_results",
]


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


@pytest.fixture(scope="module")
def ran(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folder with the shipped cases, where the README's Python is run."""
    folder = tmp_path_factory.mktemp("reader")
    (folder / "cases").mkdir()
    for case in (ROOT / "cases").glob("*.toml"):
        (folder / "cases" / case.name).write_bytes(case.read_bytes())
    return folder


@pytest.fixture(scope="module")
def result(ran: Path) -> Result:
    numba.set_num_threads(1)  # other tests may share the machine
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(ran)
        scope: dict[str, Any] = {}
        for block in blocks("python"):
            exec(block, scope)
    found = scope["result"]
    assert isinstance(found, Result)
    return found


def test_public_names_are_these() -> None:
    assert sorted(lapheat.__all__) == NAMES
    for name in NAMES:
        assert getattr(lapheat, name) is not None
    assert set(NAMES) <= set(dir(lapheat))


def test_a_name_that_is_not_there_is_said_so() -> None:
    with pytest.raises(AttributeError, match="no attribute 'simulat'"):
        lapheat.simulat  # noqa: B018


@pytest.mark.parametrize(
    ("code", "banned"),
    [
        ("import lapheat", ("numpy", "pydantic", "pint", "numba", "fipy", "rich", "typer")),
        ("from lapheat.cli.app import app", ("numpy", "pydantic", "pint", "numba", "fipy")),
        ("from lapheat import read_case", ("numba", "fipy", "matplotlib", "scipy")),
        (
            "import lapheat.march.expected, lapheat.cli.check, lapheat.cli.run, lapheat.cli.new",
            ("numba", "fipy", "matplotlib", "scipy"),
        ),
        ("from lapheat import simulate", ("matplotlib",)),
    ],
)
def test_imports_stay_light(code: str, banned: tuple[str, ...]) -> None:
    check = f"{code}\nimport sys\nprint(*({banned!r} & sys.modules.keys()))"
    check = check.replace(repr(banned), repr(set(banned)))
    done = subprocess.run(
        [sys.executable, "-c", check],
        env={"PYTHONPATH": str(ROOT / "sim")},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.split() == []


def test_version_is_that_of_the_project_file() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert project["version"] == lapheat.__version__


def test_readme_code_runs_and_gives_an_answer(
    result: Result, capsys: pytest.CaptureFixture[str]
) -> None:
    assert isinstance(result.history, History)
    assert result.outcomes.verdict.summary.endswith(".")
    assert capsys.readouterr().err == ""


def test_readme_code_leaves_the_result_folder(result: Result, ran: Path) -> None:
    out = ran / "flue-stub.out"
    files = sorted(str(path.relative_to(out)) for path in out.rglob("*") if path.is_file())
    pictures = ["current", "histories", "peaks", "schedule", "section"]
    assert files == [
        "case.toml",
        *(f"figures/{name}.png" for name in pictures),
        "outcomes.json",
        "probes.csv",
    ]
    told = json.loads((out / "outcomes.json").read_text("utf-8"))
    assert list(told) == list(KEYS)
    assert told == result.outcomes.as_dict()


def test_resolved_case_of_a_run_is_the_same_case(result: Result, ran: Path) -> None:
    again = read_case(ran / "flue-stub.out" / "case.toml")
    assert again == result.case
    assert lapheat.case_to_toml(again) == (ran / "flue-stub.out" / "case.toml").read_text("utf-8")


def test_heat_closes_and_comes_from_the_arc(result: Result) -> None:
    heat = result.outcomes.heat
    assert abs(heat.imbalance) < 1e-9
    # what volts x amps x efficiency brings goes into the work or into melting the rod
    assert heat.arc_J + heat.filler_J == pytest.approx(
        result.case.arc.efficiency * heat.electrical_J, rel=1e-9
    )


def test_peaks_are_those_of_every_step(result: Result) -> None:
    trace, outcomes = result.history.trace, result.outcomes
    assert outcomes.flange is not None
    assert outcomes.tube.peak_C == pytest.approx(float(trace.tube.max()) - 273.15, abs=1e-6)
    assert outcomes.flange.peak_C == pytest.approx(float(trace.flange.max()) - 273.15, abs=1e-6)


def test_wet_share_of_a_side_is_the_mean_of_its_segments(result: Result) -> None:
    history, outcomes = result.history, result.outcomes
    assert outcomes.filler is not None
    count = result.case.segment_count
    for name, side in history.sides.items():
        # a level in the middle of the peaks, so that the shares are neither 0 nor 1
        level = float(np.median(side.peak))
        parts = np.split(side.peak, count, axis=1)
        each = [wet_share(part, side.area, level).mean() for part in parts]
        assert np.mean(each) == pytest.approx(wet_share(side.peak, side.area, level).mean())
        wets_at = outcomes.filler.wets_at_C + 273.15
        share = getattr(outcomes.filler, f"{name}_side_wet")
        assert share == pytest.approx(wet_share(side.peak, side.area, wets_at).mean(), rel=1e-12)


def test_expected_size_is_that_of_the_run(result: Result) -> None:
    """Exactly, for a hand that keeps to the clock: nobody knows beforehand how long it waits."""
    by_clock = ["travel.start=timed", "travel.dwell=2 s", "travel.coverage=0.2"]
    case = read_case(ROOT / "cases" / "flue-stub.toml", by_clock, "coarse")
    told, history = expected.expected_of(case), lapheat.simulate(case, threads=1).history
    assert told.cells == result.outcomes.mesh.cells
    assert told.arc_steps == int((history.trace.current[1:] > 0.0).sum())
    assert told.arc_on == pytest.approx(history.arc_on, rel=1e-12)
    assert told.total <= history.total + 1e-9  # the case may wait for its start points to cool


@pytest.fixture(scope="module")
def bead() -> tuple[Result, list[Progress]]:
    """Two segments on a short tube, with what was reported on the way."""
    seen: list[Progress] = []
    changes = ["travel.coverage=0.25", "tube.length=40 mm"]
    case = read_case(ROOT / "cases" / "test-bead.toml", changes, "coarse")
    return lapheat.simulate(case, threads=1, report=seen.append), seen


def test_expected_time_and_steps_without_waits(bead: tuple[Result, list[Progress]]) -> None:
    told, history = expected.expected_of(bead[0].case), bead[0].history
    assert bead[0].case.travel.resume_below is None
    assert (told.segments, told.ring) == (2, bead[0].case.segment_count)
    assert told.total == pytest.approx(history.total, rel=1e-12)
    assert told.steps == pytest.approx(history.steps, rel=0.3)


def test_report_sees_every_step(bead: tuple[Result, list[Progress]]) -> None:
    done, seen = bead
    assert len(seen) == done.outcomes.march.steps + 1  # the start is told too
    assert [p.time for p in seen] == sorted(p.time for p in seen)
    assert seen[-1].done == seen[-1].count == 2


def test_an_unknown_march_is_refused() -> None:
    case = read_case(ROOT / "cases" / "test-bead.toml")
    with pytest.raises(ValueError, match="march must be one of compiled, fipy, not 'fast'"):
        lapheat.simulate(case, march="fast")


def test_the_name_of_a_file_is_not_a_case() -> None:
    with pytest.raises(TypeError, match="takes a case, as from read_case"):
        lapheat.simulate("stub.toml")  # type: ignore[arg-type]


def test_readme_case_is_a_whole_case() -> None:
    (text,) = blocks("toml")
    case = read_case_text(text, "README.toml")
    assert case.segment_count == 8


def test_readme_names_every_key_of_a_case() -> None:
    from lapheat.case.keys.schema import every_key

    table = README.partition("| table | keys |")[2].partition("\n\n")[0]
    named = re.findall(r"`([a-z_]+)`", table)
    assert sorted(named) == sorted(key.rpartition(".")[2] for key in every_key())


def test_readme_names_every_built_in_alloy() -> None:
    listed = README.partition("Built-in alloys:")[2].partition("\n\n")[0]
    assert sorted(re.findall(r"`([^`]+)`", listed)) == sorted(builtin_names())


def test_a_result_shows_its_title_and_verdict(bead: tuple[Result, list[Progress]]) -> None:
    result, _ = bead
    summary = result.outcomes.verdict.summary
    assert repr(result) == f"<Result of {result.case.title!r}: {summary}>"
