"""The full map that the window is held against: every node of 41 x 41 run, none left out.

``python tests/study/full_map.py [WORKERS]`` writes `full_map.json` anew; look at the difference. A
segment length counts only through the whole number of segments that it makes, so that equal numbers
are run once. A map that was cut short goes on where it stopped.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from lapheat.study.executors import Processes
from lapheat.study.rows import RowFile, collect
from lapheat.study.trial import Source, Trial, run_trial, warm_up

if TYPE_CHECKING:
    from lapheat.study.executors import Row

HERE = Path(__file__).parent
FILE = HERE / "full_map.json"
NODES = 41
# The demo, laid in turn and without waiting for it to cool, a little colder: both boundaries show.
# (At 62 A six segments lie within 1 K of flow at every pause: no map is told from its noise there.)
CASE = HERE.parents[1] / "cases" / "flue-stub.toml"
CHANGES = ("arc.current=61.75 A", "travel.order=in-turn", "travel.resume_below=1400 degC")
VARY = ("travel.segment=10 mm:24 mm:{}", "travel.pause=2 s:40 s:{}")
ENDS = ((10.0, 24.0), (2.0, 40.0))
KEPT = ("base_slack_K", "surplus_K", "total_s")
CIRCUMFERENCE = np.pi * 38.1


def source() -> Source:
    return Source.of(CASE, CHANGES)


def segments(length: float) -> int:
    """Whole number of segments that a length [mm] makes."""
    return int(np.ceil(CIRCUMFERENCE / length * (1.0 - 1e-9)))


def nodes() -> list[tuple[float, float]]:
    """Segment [mm] and pause [s] of each node, the longest segment of its number."""
    lengths, pauses = (np.linspace(*ends, NODES) for ends in ENDS)
    longest = {segments(length): length for length in lengths}
    return [(longest[segments(length)], pause) for length in lengths for pause in pauses]


def trials() -> list[Trial]:
    case = source()
    return [
        Trial(case, (("travel.segment", f"{s:.6g} mm"), ("travel.pause", f"{p:.6g} s")))
        for s, p in nodes()
    ]


@dataclass(frozen=True)
class FullMap:
    """The kept map; `values` by name, (41, 41) over segment and pause."""

    values: dict[str, NDArray[np.float64]]

    @classmethod
    def read(cls) -> FullMap:
        kept = json.loads(FILE.read_text("utf-8"))
        return cls({name: np.array(kept[name]) for name in KEPT})

    def row(self, trial: Trial) -> Row:
        """Row of a trial as the map has it: its number of segments, linear in the pause."""
        length, pause = (float(value.split()[0]) for _, value in trial.inputs)
        lengths, pauses = (np.linspace(*ends, NODES) for ends in ENDS)
        column = [segments(one) for one in lengths].index(segments(length))
        told = {n: float(np.interp(pause, pauses, v[column])) for n, v in self.values.items()}
        base, filler = told["base_slack_K"], told["surplus_K"]
        return {
            **told,
            "margin_K": base + 50.0,
            "base_stays_solid": base >= 0.0,
            "filler_flows": filler >= 0.0,
            "failed": None,
        }


def main() -> None:
    workers = int(sys.argv[1]) if len(sys.argv) > 1 else None
    with (
        Processes(workers, warm_up) as pool,
        RowFile(FILE.with_suffix(".rows"), resume=True) as store,
    ):
        rows = collect(pool, run_trial, trials(), store, lambda *at: print(*at, file=sys.stderr))
        whole = {
            name: np.array([float(row[name] or 0.0) for row in rows]).reshape(NODES, NODES)
            for name in KEPT
        }
        lines = []
        for name in KEPT:
            columns = [json.dumps([round(v, 2) for v in line]) for line in whole[name].tolist()]
            lines.append(f'"{name}": [\n' + ",\n".join(columns) + "\n]")
        FILE.write_text("{" + ",\n".join(lines) + "}\n", "utf-8")
        store.close(remove=True)


if __name__ == "__main__":
    main()
