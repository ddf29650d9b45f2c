"""The shipped cases through FiPy's own terms at coarse.

Whole, they take FiPy minutes each. ``python -m pytest tests/reference --rewrite-fipy`` marches them
(all, or with ``-k NAME`` one) and keeps what came out in ``fipy_outcomes``; every run of the tests
holds the compiled march against that, and refuses it when case file or mesh are no longer those it
was made of. The first segment of three cases goes through both marches each time.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lapheat.march.march
from exact.errors import Record
from lapheat import read_case, simulate
from lapheat.api import Result
from lapheat.outcomes.outcomes import Outcomes

CASES = Path(__file__).parents[2] / "cases"
KEPT = Path(__file__).parent / "fipy_outcomes"
NAMES = ("flue-stub", "flue-stub-hot", "flue-stub-cold", "thin-sleeve", "test-bead")
SOURCE = "FiPy: Guyer, Wheeler and Warren 2009"
COMMAND = "python -m pytest tests/reference --rewrite-fipy -k"


def temperatures(out: Outcomes) -> dict[str, float]:
    """Every temperature of the contract [degC]."""
    found = {"tube": out.tube.peak_C, "bore": out.tube.bore_peak_C}
    if out.flange is not None and out.filler is not None:
        found |= {"flange": out.flange.peak_C, "filler": out.filler.peak_C}
    for s in out.segments:
        found |= {f"segment {s.number} start": s.start_C, f"segment {s.number} tube": s.tube_peak_C}
        if s.flange_peak_C is not None:
            found[f"segment {s.number} flange"] = s.flange_peak_C
    if out.filler is not None:
        found["coldest under filler"] = out.filler.coldest_C
        for side in ("tube", "flange"):
            surplus = getattr(out.filler, f"{side}_side_surplus_K")
            found[f"{side} side, wanted share"] = out.filler.flow_C + surplus
    return found | {f"probe {name}": probe.peak_C for name, probe in out.probes.items()}


def wet_shares(out: Outcomes) -> dict[str, float]:
    """Every wet share of the contract."""
    if out.filler is None:
        return {}
    found = {"tube side": out.filler.tube_side_wet, "flange side": out.filler.flange_side_wet}
    for s in out.segments:
        found |= {f"segment {s.number} tube side": s.tube_side_wet}
        found |= {f"segment {s.number} flange side": s.flange_side_wet}
    return found


def source_of(name: str, result: Result) -> dict[str, Any]:
    """What a record is of: the text of the case file and the mesh."""
    text = (CASES / f"{name}.toml").read_bytes()
    mesh = result.history.problem.mesh
    corners = mesh.section.vertices * 1e3
    return {
        "case_sha256": sha256(text).hexdigest(),
        "cells": mesh.cells,
        "layers": mesh.layers,
        "r_mm": np.unique(corners[:, 0].round(4)).tolist(),
        "z_mm": np.unique(corners[:, 1].round(4)).tolist(),
    }


def record_of(name: str, result: Result) -> dict[str, Any]:
    """What is kept of a run through FiPy."""
    out = result.outcomes
    return {
        "source": source_of(name, result),
        "written": datetime.now(UTC).date().isoformat(),
        "fipy": out.versions["fipy"],
        "steps": out.march.steps,
        "wall_s": round(out.march.wall_s),
        "imbalance": out.heat.imbalance,
        "temperatures_C": temperatures(out),
        "wet_shares": wet_shares(out),
    }


def furthest(one: dict[str, float], other: dict[str, float], start: float) -> tuple[float, str]:
    """Largest difference of two sets of temperatures [degC] as a share of the rise, and where."""
    assert one.keys() == other.keys()
    rises = {key: max(value - start, 5.0) for key, value in other.items()}
    return max((abs(one[key] - other[key]) / rises[key], key) for key in other)


@pytest.mark.parametrize("name", NAMES)
def test_whole_case_agrees_with_fipy(
    name: str,
    shipped_run: Callable[[str], Result],
    request: pytest.FixtureRequest,
    record: Record,
) -> None:
    """Every temperature within 1 % of its rise, every wet share within 0.02."""
    path = KEPT / f"{name}.json"
    if request.config.getoption("--rewrite-fipy"):
        case = read_case(CASES / f"{name}.toml", detail="coarse")
        made = record_of(name, simulate(case, march="fipy"))
        path.parent.mkdir(exist_ok=True)
        path.write_text(json.dumps(made, indent=1) + "\n", encoding="utf-8")
    assert path.exists(), f"no record; run: {COMMAND} {name}"
    kept = json.loads(path.read_text(encoding="utf-8"))
    ours = shipped_run(name)
    assert kept["source"] == source_of(name, ours), (
        f"case file or mesh changed since; run: {COMMAND} {name}"
    )
    start = ours.history.problem.start - 273.15
    off, where = furthest(temperatures(ours.outcomes), kept["temperatures_C"], start)
    assert off < 0.01, where
    record(f"whole case through FiPy, {name}: temperatures", SOURCE, 100.0 * off, 1.0, "% of rise")
    shares = wet_shares(ours.outcomes)
    assert shares.keys() == kept["wet_shares"].keys()
    apart = {key: abs(share - kept["wet_shares"][key]) for key, share in shares.items()}
    for side in ("tube side", "flange side"):
        if ours.history.sides:
            check = f"whole case through FiPy, {name}: wet share, {side}"
            record(check, SOURCE, apart.pop(side), 0.02, "of it")
            found = {key: wet for key, wet in apart.items() if key.endswith(side)}
            assert max(found.values()) < 0.02, found
    assert abs(kept["imbalance"]) < 1e-9


def test_record_of_another_case_is_refused(
    shipped_run: Callable[[str], Result], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """A mesh that changed in one line, or a case file."""
    name = "test-bead"
    result = shipped_run(name)
    kept = source_of(name, result)
    assert json.loads(json.dumps(kept)) == kept
    section = result.history.problem.mesh.section
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(section.__dict__, "vertices", section.vertices * [1.0, 1.00001])
        assert source_of(name, result) != kept
    text = (CASES / f"{name}.toml").read_text(encoding="utf-8")
    (tmp_path / f"{name}.toml").write_text(text + "\n", encoding="utf-8")
    monkeypatch.setattr(f"{__name__}.CASES", tmp_path)
    assert source_of(name, result) != kept


@pytest.mark.slow
@pytest.mark.parametrize("name", ["flue-stub-hot", "thin-sleeve", "test-bead"])
def test_first_segment_agrees(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Within 1 % of the rise, wet shares within 0.02."""
    monkeypatch.setattr(
        lapheat.march.march, "COOL_AT_MOST", 5.0
    )  # both marches alike, to save time
    monkeypatch.setattr(lapheat.march.march, "COOL_AT_LEAST", 2.0)
    case = read_case(CASES / f"{name}.toml", ["travel.coverage=0.05"], "coarse")
    assert round(0.05 * case.segment_count) <= 1
    ours, theirs = (simulate(case, march=m, threads=1).outcomes for m in ("compiled", "fipy"))
    off, where = furthest(temperatures(ours), temperatures(theirs), 20.0)
    assert off < 0.01, where
    one, other = wet_shares(ours), wet_shares(theirs)
    for key, value in other.items():
        assert one[key] == pytest.approx(value, abs=0.02), key
    assert abs(theirs.heat.imbalance) < 1e-9
