"""How often a calibration's 95 % intervals hold the truth, seed by seed, true runs only.

    PYTHONPATH=sim:tests python tests/study/coverage_of_calibration.py [SEEDS] [clock | widths]

Thermocouples read with noise and sit off their places, by 0.5 mm along the tube. A hundred seeds
of a small bead take some minutes. With `clock` the record's clock is off by 1.5 s and free, which
takes five times as long. With `widths` a caliper measures beads, and edges mark other temperatures
than they should. DEVELOPERS.md quotes the answers; tests do the same through parabolas.
"""

from __future__ import annotations

import sys

import numpy as np

from lapheat.study.calibration.caliper.fit import Caliper, fit_beads
from lapheat.study.calibration.measured import Readings
from lapheat.study.calibration.readings import Calibration, calibrate
from lapheat.study.runs import Executor, Processes, RowFile, drive, warm_up
from study import scrap
from study.beads import NAMES, NOISE, TIME, TRUTH, moved, runs_of

LATE = 1.5  # [s]


def histories(seed: int, clock: bool, executor: Executor, store: RowFile) -> Calibration:
    rng, late = np.random.default_rng(seed), LATE if clock else 0.0
    off = moved((0.5 * rng.normal(size=3)).tolist())
    (shown,) = drive(runs_of(source=off)([TRUTH]), executor, store)
    values = shown.at(TIME - late) + NOISE * rng.normal(size=(len(TIME), len(NAMES)))
    runs = runs_of(until=float(TIME[-1]) + 60.0)
    return drive(calibrate(runs, Readings(NAMES, TIME, values), clock), executor, store)


def widths(seed: int, executor: Executor, store: RowFile) -> Caliper:
    runs = scrap.runs_of()
    (tracks,) = drive(runs([TRUTH]), executor, store)
    beads = scrap.measured(tracks, seed, strayed=True)
    return drive(fit_beads(runs, beads, scrap.READING), executor, store)


def main(seeds: int, what: str) -> None:
    held, refused, store = np.zeros(4, dtype=int), 0, RowFile()
    with Processes(None, warm_up) as executor:
        for seed in range(seeds):
            found: Calibration | Caliper
            if what == "widths":
                found, clock = widths(seed, executor, store), None
            else:
                found = histories(seed, what == "clock", executor, store)
                clock = found.offset
            inside = [f.low <= t <= f.high for f, t in zip(found.fitted, TRUTH, strict=True)]
            inside.append(clock is None or clock[1] <= LATE <= clock[2])
            held += [*inside, all(inside)]
            refused += bool(found.misfit)
            told = f"efficiency, spot, clock, all held in {held.tolist()}; {refused} refused"
            print(seed + 1, f"seeds: {told}", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100, "".join(sys.argv[2:]))
