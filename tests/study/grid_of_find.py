"""A small `find` held against a grid: no setting of 9 x 9 x 9 may do better than its pick.

    PYTHONPATH=sim:tests python tests/study/grid_of_find.py     200 s of one core

`find` seeks the quickest setting whose chance reaches what is wanted, among those with which the
case as it is keeps its margins. So a setting of the grid can only be better if its own run keeps
the margins and is quicker than the pick. Those are run on 64 benches, the hardest first, and given
up once so many fail that the wanted chance is out of reach whatever the rest does. Nothing else is
pruned, so the answer is that of all 46,656 runs. It is kept in `grid_of_find.json`.
"""

from __future__ import annotations

import itertools
import json
import sys
import time
from collections import Counter
from math import ceil
from pathlib import Path
from typing import Any

import numpy as np

from lapheat.case.units import rounded, write_quantity
from lapheat.study.chance.bench import points
from lapheat.study.find.files import find_dict
from lapheat.study.find.model import measures
from lapheat.study.find.plan import FindPlan, plan_of
from lapheat.study.find.seek import seek
from lapheat.study.find.space import Space, space_of
from lapheat.study.runs import Row, RowFile, Serial, Source, collect, drive, run_trial, warm_up

KEPT = Path(__file__).with_suffix(".json")
TEXT = """
title = "Small joint"
tube = { outside_diameter = "12 mm", wall = "1 mm", length = "15 mm" }
flange = { thickness = "2 mm", outside_diameter = "30 mm" }
fillet = { leg = "2 mm" }
arc = { current = "45 A", length = "3 mm", work_angle = "55 deg" }
travel = { speed = "2 mm/s", segment = "19 mm", pause = "2 s", coverage = 0.5 }
numerics = { detail = "coarse" }
bench = { hand = "pedal" }
"""
FREE = "arc.hold,arc.aim,travel.speed"
SURE, SIDE, BENCHES = 0.9, 9, 64


def plan() -> FindPlan:
    """Search that is held against the grid."""
    return plan_of(Source(TEXT, "small.toml"), SURE, FREE)


def survives(row: Row) -> bool:
    """Whether a bench succeeds."""
    (base,), (filler,), _ = measures([row])
    return bool(base > 0.0 and filler >= 0.0)


def count(
    space: Space,
    inputs: tuple[tuple[str, str], ...],
    store: RowFile,
    hard: Counter[int],
    wanted: float = SURE,
) -> tuple[int, int]:
    """Benches that succeed and benches run, the hardest first, until too many fail."""
    bench = points(BENCHES, space.size[1], 987654321)
    good = ran = 0
    for i in sorted(range(BENCHES), key=lambda i: (-hard[i], i)):
        (row,) = collect(Serial(), run_trial, [space.trial(inputs, bench[i], "coarse")], store)
        ran += 1
        good += survives(row)
        hard[i] += not survives(row)
        if good + BENCHES - ran < ceil(wanted * BENCHES):
            break
    return good, ran


def main() -> None:
    """Search, count the pick and the grid, and keep both."""
    warm_up()
    store = RowFile(Path(sys.argv[1]) if len(sys.argv) > 1 else KEPT.with_suffix(".rows"), True)
    found = drive(seek(plan()), Serial(), store)
    assert found.pick is not None, found.why
    space = space_of(found.plan.source, "pedal", found.plan.knobs)
    hard: Counter[int] = Counter()
    own = {knob.key for knob in space.knobs}
    pick = tuple(entry for entry in found.pick.inputs if entry[0] in own)
    wanted = found.plan.case.limits.base_margin
    grid: list[Any] = []
    lines = [
        [(k.key, write_quantity(rounded(v), k.kind)) for v in np.linspace(k.low, k.high, SIDE)]
        for k in space.knobs
    ]
    at = list(itertools.product(*lines))
    nominal = np.zeros(space.size[1])
    rows = collect(
        Serial(), run_trial, [space.trial(inputs, nominal, "coarse") for inputs in at], store
    )
    base, filler, seconds = measures(rows)
    for i in np.argsort(np.nan_to_num(seconds, nan=np.inf), kind="stable"):
        entry = {"at": [t for _, t in at[i]], "margin_K": base[i], "slack_K": filler[i]}
        entry["total_s"] = None if np.isnan(seconds[i]) else seconds[i]
        if base[i] >= wanted and filler[i] >= 0.0 and seconds[i] < found.pick.time:
            entry["good"], entry["ran"] = count(space, at[i], store, hard)
            print(time.strftime("%H:%M:%S"), entry, flush=True)
        grid.append(entry)
    kept = {
        "command": "PYTHONPATH=sim:tests python tests/study/grid_of_find.py",
        "keys": [knob.key for knob in space.knobs],
        "benches": BENCHES,
        "wanted_margin_K": wanted,
        "find": find_dict(found),
        "pick_of_64": count(space, pick, store, Counter(), 0.0)[0],
        "runs": len(store.rows),
    }
    each = ",\n".join("  " + json.dumps(entry) for entry in grid)
    text = json.dumps(kept, indent=1).removesuffix("\n}")
    KEPT.write_text(f'{text},\n "grid": [\n{each}\n ]\n}}\n', "utf-8")
    store.close(remove=True)


if __name__ == "__main__":
    main()
