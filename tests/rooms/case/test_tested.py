"""The table of what the model was tested in: true, told in the README, and said of a case."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from invariance.small import SMALL, text_of
from lapheat.case.case import Case
from lapheat.case.file import read_case, read_case_text
from lapheat.case.file.tested import BEADS, JOINTS, TESTED, outside_of
from support.case_texts import ALLOY, BASE, BEAD, put

ROOT = Path(__file__).parents[3]


def held() -> list[Case]:
    """Cases that a test holds against FiPy's terms or against what was published."""
    files = sorted([*ROOT.glob("cases/*.toml"), *ROOT.glob("cases/published/*.toml")])
    # the demo with a steady arc: no reference test runs it
    files.remove(ROOT / "cases/flue-stub-joint.toml")
    return [*map(read_case, files), read_case_text(text_of(SMALL), "small.toml")]


def test_steady_arcs_end_at_74_a() -> None:
    joints = [case for case in held() if case.flange is not None]
    (current,) = (row for row in TESTED if row.key == "arc.current")
    highest = {case.arc.control: 0.0 for case in joints}
    for case in joints:
        highest[case.arc.control] = max(highest[case.arc.control], current.value(case))
    assert highest == pytest.approx({"steady": 74.0, "pedal": 80.0})


@pytest.mark.parametrize("bead", [False, True])
def test_bounds_are_the_extremes_of_the_cases_that_tests_hold(bead: bool) -> None:
    cases = [case for case in held() if (case.flange is None) == bead]
    assert len(cases) >= 5
    for row in TESTED:
        if row.of(cases[0]) is not None:
            values = [row.value(case) for case in cases]
            assert row.of(cases[0]) == pytest.approx((min(values), max(values))), row.key
    for key, names in (BEADS if bead else JOINTS).items():
        part, name = key.split(".")
        assert sorted({getattr(getattr(case, part), name) for case in cases}) == sorted(names)
    for case in cases:
        assert list(outside_of(case)) == []


def test_the_readme_tells_the_same() -> None:
    lines = (ROOT / "README.md").read_text("utf-8").splitlines()

    def told(bounds: tuple[float, float] | None, unit: str) -> str:
        return "-" if bounds is None else f"{bounds[0]:.4g} to {bounds[1]:.4g} {unit}"

    for row in TESTED:
        wanted = f"| `{row.key}` | {told(row.joint, row.unit)} | {told(row.bead, row.unit)} |"
        assert wanted in lines, wanted
    (alloys,) = (line for line in lines if re.match(r"\| alloys \|", line))
    for name in {name for names in (*JOINTS.values(), *BEADS.values()) for name in names}:
        assert name in alloys


@pytest.mark.parametrize(
    ("table", "line", "told"),
    [
        ("tube", 'outside_diameter = "2 in"', "tube.outside_diameter 50.8 mm (12 to 38.1 mm)"),
        ("tube", 'wall = "0.7 mm"', "tube.wall 0.7 mm (0.8 to 1.651 mm)"),
        ("tube", 'wall = "2 mm"', "tube.wall 2 mm (0.8 to 1.651 mm)"),
        ("flange", 'thickness = "8 mm"', "flange.thickness 8 mm (3 to 6.35 mm)"),
        ("arc", 'current = "85 A"', "arc.current 85 A (48 to 80 A)"),
        ("travel", 'speed = "10 cm/min"', "travel.speed 1.667 mm/s (2 to 4 mm/s)"),
        ("tube", 'alloy = "316L"', "tube.alloy 316L (304L)"),
        ("flange", 'alloy = "brass"', "flange.alloy brass (low-carbon steel)"),
        ("fillet", 'filler = "mine"', "fillet.filler mine (CuSi3Mn1)"),
    ],
)
def test_what_is_outside_is_said(table: str, line: str, told: str) -> None:
    case = read_case_text(put(table, line) + ALLOY, "stub.toml")
    (said,) = outside_of(case)
    assert said.endswith(f"tested range in brackets): {told}.")
    assert said in case.assumed


def test_a_bead_has_bounds_of_its_own() -> None:
    assert list(outside_of(read_case_text(BEAD, "bead.toml"))) == []
    assert list(outside_of(read_case_text(BASE, "stub.toml"))) == []
    text = put("arc", 'current = "25 A"', put("tube", 'wall = "4 mm"', BEAD))
    (said,) = outside_of(read_case_text(text, "bead.toml"))
    assert "tube.wall 4 mm (1 to 3 mm), arc.current 25 A (30 to 110 A)." in said
