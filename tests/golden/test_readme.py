"""The Python of the README, run whole: from case file to result folder."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import numba
import numpy as np
import pytest

import lapheat
from lapheat.api import Result
from lapheat.case.file import digest_of, read_case
from lapheat.history.records import History
from lapheat.history.wetting import wet_share
from support.outcome_keys import KEYS

ROOT = Path(__file__).parents[2]

README = (ROOT / "README.md").read_text("utf-8")

CODE = re.findall(r"^```python\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


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
        for block in CODE:
            exec(block, scope)
    found = scope["result"]
    assert isinstance(found, Result)
    return found


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
        *(f"figures/{name}.{end}" for name in pictures for end in ("png", "svg")),
        *("outcomes.json", "probes.csv", "report.html"),
        *("sheet-letter.pdf", "sheet.pdf", "sheet.png"),
    ]
    told = json.loads((out / "outcomes.json").read_text("utf-8"))
    assert list(told) == [*KEYS, "case"]
    assert told == result.outcomes.as_dict() | {"case": digest_of(result.case)}


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
