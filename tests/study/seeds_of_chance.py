"""The interval of a chance from 64 runs, held against 4096 counted ones, 64 times a setting.

    PYTHONPATH=sim:tests python tests/study/seeds_of_chance.py     half an hour of one core

Two settings of the small joint of `grid_of_find.py` run on 4096 benches each, one setting near
what `find` picks and one worse. Each 64 benches in a row are as evenly spread as 64 of another
seed are, so they stand for 64 seeds. Margin and slack of every bench are kept in
`seeds_of_chance.json`, so that the intervals can be made again without a run.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lapheat.study.chance.bench import inputs_of, points
from lapheat.study.chance.samples import MEASURED, Sample, run_sample, sample_at
from lapheat.study.chance.smooth import Smooth, chances_below
from lapheat.study.runs import Row, RowFile, Serial, Source, collect, warm_up
from study.grid_of_find import TEXT

KEPT = Path(__file__).with_suffix(".json")
RUNS, FEW, SEED = 4096, 64, 20261129
HAND = (("travel.start", "on-flow"), ("arc.control", "pedal"))
SETTINGS = {
    "good": (("arc.aim", "0.5 mm"), ("arc.hold", "1300 degC"), ("travel.speed", "1.8 mm/s")),
    "poor": (("arc.aim", "0 mm"), ("arc.hold", "1320 degC"), ("travel.speed", "1.5 mm/s")),
}


def source() -> Source:
    """Case of the small joint."""
    return Source(TEXT, "small.toml")


def benches(name: str) -> NDArray[np.float64]:
    """Benches of a setting, (4096, inputs), each input in its own standard deviations."""
    case = source().case(tuple(f"{key}={text}" for key, text in (*HAND, *SETTINGS[name])))
    return points(RUNS, len(inputs_of(case)), SEED)


def sample(name: str, bench: NDArray[np.float64]) -> Sample:
    """Run of a setting on one bench."""
    return sample_at(source(), (*HAND, *SETTINGS[name]), bench, "coarse")


def intervals(
    at: NDArray[np.float64], measures: list[NDArray[np.float64]], seed: int
) -> tuple[Smooth, ...]:
    """Chances of each 64 runs by themselves: base melts, filler fails, either."""
    here = slice(FEW * seed, FEW * (seed + 1))
    return chances_below(at[here], [values[here] for values in measures], seed)


def told(row: Row) -> list[float]:
    """Margin and slack of a row to 0.001 K; a run that failed ends the study."""
    assert row.get("failed") is None, row
    return [round(float(row[name] or 0.0), 3) for name in MEASURED]


def main() -> None:
    """Run both settings and keep them, with what the intervals held."""
    warm_up()
    kept: dict[str, Any] = {}
    with RowFile(Path(sys.argv[1]) if len(sys.argv) > 1 else KEPT.with_suffix(".rows"), True) as s:
        for name in SETTINGS:
            at, rows = benches(name), []
            for i in range(0, RUNS, FEW):
                of_these = [sample(name, bench) for bench in at[i : i + FEW]]
                rows += [told(row) for row in collect(Serial(), run_sample, of_these, s)]
                print(time.strftime("%H:%M:%S"), name, len(rows), flush=True)
            kept[name] = {"inputs": at.shape[1], "margin_slack_K": rows}
        text = ",\n".join(f' "{name}": {json.dumps(each)}' for name, each in kept.items())
        KEPT.write_text(f"{{\n{text}\n}}\n", "utf-8")
        s.close(remove=True)
    print(json.dumps({name: held(name) for name in SETTINGS}, indent=1))


def held(name: str) -> dict[str, Any]:
    """How often the interval of 64 runs holds what 4096 count, of 64 seeds."""
    kept = json.loads(KEPT.read_text("utf-8"))[name]["margin_slack_K"]
    at, measures = benches(name), [np.array(values) for values in zip(*kept, strict=True)]
    below = [values < 0.0 for values in measures]
    truth = [float(hit.mean()) for hit in (*below, below[0] | below[1])]
    seeds = [intervals(at, measures, seed) for seed in range(RUNS // FEW)]
    return {
        "truth": truth,
        "held": [sum(e[i].low <= truth[i] <= e[i].high for e in seeds) for i in range(3)],
        "width": [float(np.mean([e[i].high - e[i].low for e in seeds])) for i in range(3)],
        "integrated": sum(each[2].used for each in seeds),
    }


if __name__ == "__main__":
    main()
