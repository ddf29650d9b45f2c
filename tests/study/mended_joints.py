"""Twenty small failing joints at random, and what `explain` says mends each; minutes.

``PYTHONPATH=sim:tests python tests/study/mended_joints.py`` writes `mended_joints.json`, and goes
on with one that is not complete; delete it to begin anew.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import numpy as np

from invariance.small import text_of
from lapheat.study.explain.explain import Explained, explain
from lapheat.study.explain.measures import run_explained
from lapheat.study.explain.search import holds
from lapheat.study.runs import RowFile, Serial, Source, Trial, drive

KEPT = Path(__file__).with_suffix(".json")
COUNT, SEED = 20, 14


def joint(number: int) -> str:
    """Text of a small joint: its shape, its arc and its hand at random."""
    rng = np.random.default_rng([SEED, number])

    def between(low: float, high: float, step: float) -> float:
        return round(float(step * np.round(rng.uniform(low, high) / step)), 6)

    diameter, hand = between(8.0, 14.0, 1.0), rng.choice(["clock", "flow", "pedal"])
    current = between(25.0, 80.0, 1.0)
    arc = {
        "current": f"{current:g} A",
        "voltage": "10.5 V",
        "spot": f"{between(1.4, 2.4, 0.1):g} mm",
        "work_angle": f"{between(40.0, 60.0, 5.0):g} deg",
        "aim": f"{between(-0.5, 1.5, 0.5):g} mm",
    }
    travel: dict[str, str | float] = {
        "speed": f"{between(1.5, 4.0, 0.1):g} mm/s",
        "segment": f"{between(7.0, 12.0, 1.0):g} mm",
        "pause": f"{between(2.0, 12.0, 1.0):g} s",
        "order": str(rng.choice(["in-turn", "opposite"])),
        "coverage": 0.4,  # of the ring, for the sake of time
    }
    if hand == "clock":
        travel["dwell"] = f"{between(0.0, 4.0, 0.5):g} s"
    else:
        travel["start"] = "on-flow"
    if hand == "pedal":
        arc |= {"control": "pedal", "hold": f"{between(1100.0, 1420.0, 10.0):g} degC"}
    tables = {
        "tube": {"outside_diameter": f"{diameter:g} mm", "wall": f"{between(0.8, 1.6, 0.1):g} mm",
                 "length": "16 mm"},
        "flange": {"thickness": f"{between(2.0, 4.0, 0.5):g} mm",
                   "outside_diameter": f"{between(diameter + 12.0, diameter + 24.0, 1.0):g} mm"},
        "fillet": {"leg": f"{between(1.5, 2.5, 0.1):g} mm"},
        "arc": arc,
        "travel": travel,
        "numerics": {"detail": "coarse"},
    }  # fmt: skip
    return text_of(tables)


def source_of(number: int) -> Source:
    """Case of a joint."""
    return Source(joint(number), f"joint {number}")


def told(number: int, found: Explained) -> dict[str, Any]:
    """What is kept of a joint."""
    return {
        "joint": number,
        "findings": [finding.finding for finding in found.findings],
        "runs": found.runs[0],
        "advice": [{"inputs": dict(a.inputs), "works": a.works} for a in found.advice],
    }


def main() -> None:
    """Find the first failing joints and explain each."""
    kept: list[dict[str, Any]] = json.loads(KEPT.read_text("utf-8")) if KEPT.exists() else []
    number = kept[-1]["joint"] + 1 if kept else 0
    while len(kept) < COUNT:
        source = source_of(number)
        row = run_explained(Trial(source, (), None))
        if row.get("failed") is None and not holds(row):
            kept.append(told(number, drive(explain(source), Serial(), RowFile())))
            print(kept[-1], file=sys.stderr, flush=True)
            KEPT.write_text(json.dumps(kept, indent=1) + "\n", "utf-8")
        number += 1


if __name__ == "__main__":
    main()
