"""How often a calibration's 95 % intervals hold the truth, noise by noise, true runs only.

    PYTHONPATH=sim:tests python tests/study/coverage_of_calibration.py [SEEDS] [clock]

A hundred seeds of a small bead take some minutes; with `clock` the record's clock is off by 1.5 s
and free, which takes five times as long. The answers are quoted in `test_calibrate.py`, where the
fit alone is done through parabolas between true runs.
"""

from __future__ import annotations

import sys

from lapheat.study.calibration.measured import Readings
from lapheat.study.calibration.readings import calibrate
from lapheat.study.runs import Processes, RowFile, drive, warm_up
from study.beads import NAMES, TIME, TRUTH, readings, runs_of

LATE = 1.5  # [s]


def main(seeds: int, clock: bool) -> None:
    held = [0, 0, 0, 0]
    late = LATE if clock else 0.0
    with Processes(None, warm_up) as executor:
        runs, store = runs_of(until=float(TIME[-1]) + 60.0), RowFile()
        (truth,) = drive(runs([TRUTH]), executor, store)
        for seed in range(seeds):
            noise = readings(truth, seed).values - truth.at(TIME)
            given = Readings(NAMES, TIME, truth.at(TIME - late) + noise)
            found = drive(calibrate(runs, given, clock), executor, store)
            inside = [f.low <= t <= f.high for f, t in zip(found.fitted, TRUTH, strict=True)]
            inside.append(found.offset is None or found.offset[1] <= late <= found.offset[2])
            held = [h + i for h, i in zip(held, [*inside, all(inside)], strict=True)]
            print(seed + 1, "seeds: efficiency, spot, clock, all held in", *held, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, "clock" in sys.argv[2:])
