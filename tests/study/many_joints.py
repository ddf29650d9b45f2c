"""`find` on named and on random joints: pick, confirmed chance, runs and seconds of each.

    PYTHONPATH=sim:tests python tests/study/many_joints.py [--workers N] [--only NAME]

Three named joints come first, then random ones: diameter 12 to 76 mm, wall 0.8 to 2.1 mm, flange
2 to 12 mm thick. What comes out is kept in `many_joints.json` after each joint. Started again it
goes on: joints that are kept are not searched again, unfinished ones resume from their rows.
`seconds` and `cpu_s` (all processes) count from the last start.
"""

from __future__ import annotations

import argparse
import json
import os
import time
from pathlib import Path
from typing import Any

import numpy as np

from lapheat.study.find.files import find_dict
from lapheat.study.find.plan import plan_of
from lapheat.study.find.seek import seek
from lapheat.study.runs import RowFile, Source, drive, executor_of, warm_up

HERE = Path(__file__).parent
KEPT = HERE / "many_joints.json"
NAMED = {
    "2 in x 0.049 in on 3/8 in": ("2 in", "0.049 in", "3/8 in", "4.5 in"),
    "28 mm x 1.2 mm on 4 mm": ("28 mm", "1.2 mm", "4 mm", "92 mm"),
    "60 mm x 2 mm on 10 mm": ("60 mm", "2 mm", "10 mm", "124 mm"),
}
# All else is as the demo's, or left out; the fillet's leg is 2 x wall then.
TEXT = """
title = "{name}"
tube = {{ outside_diameter = "{diameter}", wall = "{wall}" }}
flange = {{ thickness = "{thickness}", outside_diameter = "{plate}" }}
arc = {{ current = "70 A", length = "3 mm", work_angle = "55 deg" }}
travel = {{ speed = "2 mm/s", segment = "12 mm", pause = "15 s", order = "opposite" }}
"""


def source_of(name: str, diameter: str, wall: str, thickness: str, plate: str) -> Source:
    """Case of a joint with nothing chosen yet."""
    text = TEXT.format(name=name, diameter=diameter, wall=wall, thickness=thickness, plate=plate)
    return Source(text, f"{name}.toml")


def joints(count: int, seed: int) -> dict[str, Source]:
    """Named joints, then random ones; more of them begin with the same."""
    found = {name: source_of(name, *sizes) for name, sizes in NAMED.items()}
    rng = np.random.default_rng(seed)
    while len(found) < count + len(NAMED):
        diameter = float(np.exp(rng.uniform(np.log(12.0), np.log(76.0))))
        wall, thickness = rng.uniform(0.8, 2.1), rng.uniform(2.0, 12.0)
        sizes = (f"{diameter:.0f} mm", f"{wall:.1f} mm", f"{thickness:.0f} mm")
        name = "{} x {} on {}".format(*sizes)
        found.setdefault(name, source_of(name, *sizes, f"{diameter + 64.0:.0f} mm"))
    return found


def search(source: Source, rows: Path, workers: int) -> dict[str, Any]:
    """Search one joint to its end; what is kept of it."""
    begun, spent = time.monotonic(), sum(os.times()[:4])

    def told(doing: str, done: int, count: int) -> None:
        if done == count:
            print(f"  {time.monotonic() - begun:5.0f} s  {done} {doing}", flush=True)

    with executor_of(workers, None, warm_up) as executor, RowFile(rows, resume=True) as store:
        there = len(store.rows)
        found = drive(seek(plan_of(source, 0.9)), executor, store, told)
        store.close(remove=True)
    whole = find_dict(found)
    names = ("hand", "inputs", "chance", "low", "high", "total_s", "benches", "fails")
    return {
        "sure_enough": whole["pick"] is not None,
        **{name: whole["picks"][0][name] for name in names},
        "why": whole["why"],
        "tried": [pick["chance"] for pick in whole["picks"] if pick["benches"]],
        "hands": {pick["hand"]: pick["chance"] for pick in whole["hands"]},
        "instead": whole["instead"],
        "runs": whole["runs"],
        "own_runs": whole["own_runs"],
        "resumed_at": there,
        "seconds": round(time.monotonic() - begun),
        "cpu_s": round(sum(os.times()[:4]) - spent),
    }


def main() -> None:
    """Search every joint that is not kept yet."""
    read = argparse.ArgumentParser()
    read.add_argument("--joints", type=int, default=20)
    read.add_argument("--seed", type=int, default=0)
    read.add_argument("--workers", type=int, default=1)
    read.add_argument("--only", default="", help="part of a joint's name")
    read.add_argument("--out", type=Path, default=KEPT)
    asked = read.parse_args()
    kept = json.loads(asked.out.read_text("utf-8")) if asked.out.exists() else {}
    for name, source in joints(asked.joints, asked.seed).items():
        if name in kept or asked.only not in name:
            continue
        print(time.strftime("%H:%M:%S"), name, flush=True)
        rows = asked.out.with_name(f"{name.replace('/', '_')}.rows")
        kept[name] = search(source, rows, asked.workers)
        asked.out.write_text(json.dumps(kept, indent=1) + "\n", "utf-8")
        print(f"  {kept[name]['hand']} {kept[name]['inputs']}\n  {kept[name]['why']}", flush=True)


if __name__ == "__main__":
    main()
