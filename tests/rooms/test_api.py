"""The public names, what importing them costs, and what calling them gives or refuses."""

from __future__ import annotations

import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import lapheat
from lapheat.api import Result, converge, simulate
from lapheat.case.case import Case
from lapheat.case.file import read_case, read_case_text
from lapheat.joint.lines import DETAILS
from lapheat.march.march import Progress

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text("utf-8")

NAMES = [
    "Answer",
    "Case",
    "CaseError",
    "History",
    "MarchError",
    "Outcomes",
    "Result",
    "ResultError",
    "__version__",
    "calibrate",
    "case_to_toml",
    "compare",
    "converge",
    "explain",
    "find",
    "outcomes_of",
    "read_case",
    "risk",
    "sequences",
    "simulate",
    "window",
    "write_results",
]


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


@pytest.fixture(scope="module")
def bead() -> tuple[Result, list[Progress]]:
    """Two segments on a short tube, with what was reported on the way."""
    seen: list[Progress] = []
    changes = ["travel.coverage=0.25", "tube.length=40 mm"]
    case = read_case(ROOT / "cases" / "test-bead.toml", changes, "coarse")
    return lapheat.simulate(case, threads=1, report=seen.append), seen


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


def test_a_result_shows_its_title_and_verdict(bead: tuple[Result, list[Progress]]) -> None:
    result, _ = bead
    summary = result.outcomes.verdict.summary
    assert repr(result) == f"<Result of {result.case.title!r}: {summary}>"


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
