"""How often a calibration's 95 % intervals hold the truth: 100 seeds of noise, true runs only.

    PYTHONPATH=sim:tests python tests/study/coverage_of_calibration.py

About 1300 runs of a small bead, which takes some minutes. Its answer is quoted in
`test_calibrate.py`, where the same is done through parabolas between true runs.
"""

from __future__ import annotations

import sys

from lapheat.study import Processes, RowFile, warm_up
from lapheat.study.calibrate import fit_readings
from lapheat.study.fit import intervals
from study.beads import TRUTH, readings, runs_of, unknowns


def main(seeds: int) -> None:
    held = [0, 0, 0]
    with Processes(None, warm_up) as executor:
        runs = runs_of(executor=executor, store=RowFile())
        (truth,) = runs([TRUTH])
        for seed in range(seeds):
            found = intervals(unknowns(), fit_readings(runs, unknowns(), readings(truth, seed)))
            inside = [f.low <= t <= f.high for f, t in zip(found, TRUTH, strict=True)]
            held = [h + i for h, i in zip(held, [*inside, all(inside)], strict=True)]
            print(seed + 1, "seeds: efficiency, spot, both held in", *held, flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100)
