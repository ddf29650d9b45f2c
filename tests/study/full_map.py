"""The full maps that the window is held against: every node of 41 x 41 or 21 x 21 is run.

``python tests/study/full_map.py NAME [WORKERS]`` writes `full_map_NAME.json` anew; look at the
difference. In `segment_pause` a segment length counts only through the whole number of segments
that it makes, so that equal numbers are run once; in `current_dwell` every node is a run of its
own. A map that was cut short goes on where it stopped.
"""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import RegularGridInterpolator

from lapheat.study.runs.executors import Processes
from lapheat.study.runs.store import RowFile, collect
from lapheat.study.runs.trial import Source, Trial, run_trial, warm_up

if TYPE_CHECKING:
    from lapheat.study.runs.executors import Row

HERE = Path(__file__).parent
CASE = HERE.parents[1] / "cases" / "flue-stub.toml"
KEPT = ("base_slack_K", "filler_slack_K", "total_s")
CIRCUMFERENCE = np.pi * 38.1
# The demo by a hand that keeps to the clock and does not move the current, so that nothing hangs on
# the hand of the case itself,
STEADY = (
    *("arc.control=steady", "travel.start=timed", "arc.current=66 A"),
    *("travel.dwell=4.5 s", "arc.aim=1 mm"),
)
# laid in turn and without waiting for it to cool.
IN_TURN = (*STEADY, "travel.order=in-turn", "travel.resume_below=1400 degC")


@dataclass(frozen=True)
class Asked:
    """What a map is of: keys put over the demo, and two axes as (key, first, last, unit)."""

    changes: tuple[str, ...]
    axes: tuple[tuple[str, float, float, str], tuple[str, float, float, str]]
    nodes: int = 41

    def vary(self, count: int) -> list[str]:
        """Axes as on the command line."""
        return [f"{key}={a:g} {unit}:{b:g} {unit}:{count}" for key, a, b, unit in self.axes]

    def source(self) -> Source:
        return Source.of(CASE, self.changes)

    def lines(self) -> list[NDArray[np.float64]]:
        """Values of each axis at its nodes."""
        return [np.linspace(a, b, self.nodes) for _, a, b, _ in self.axes]


MAPS = {
    # a little colder, with a stirred puddle and the share of each side alone as the limit: both
    # boundaries show. (At 61 and 62 A the margin of nine to eleven segments stays within some K of
    # its limit from 12 to 20 s of pause: no boundary is told from noise there.)
    "segment_pause": Asked(
        (
            *IN_TURN,
            *("arc.current=60 A", "travel.dwell=6 s", "fillet.stirring=2.5"),
            *("limits.dry_length=50 mm", "limits.flow_margin=0 K"),
        ),
        (("travel.segment", 10.0, 24.0, "mm"), ("travel.pause", 2.0, 40.0, "s")),
    ),
    "current_dwell": Asked(
        IN_TURN,
        (("arc.current", 56.0, 76.0, "A"), ("travel.dwell", 1.0, 8.0, "s")),
        nodes=21,
    ),
}


def segments(length: float) -> int:
    """Whole number of segments that a length [mm] makes."""
    return int(np.ceil(CIRCUMFERENCE / length * (1.0 - 1e-9)))


def trials(asked: Asked) -> list[Trial]:
    """One for each node; of segment lengths the longest of its number."""
    case, (one, two) = asked.source(), asked.lines()
    (key, _, _, unit), (key_2, _, _, unit_2) = asked.axes
    if key == "travel.segment":
        longest = {segments(length): length for length in one}
        one = np.array([longest[segments(length)] for length in one])
    return [
        Trial(case, ((key, f"{a:.6g} {unit}"), (key_2, f"{b:.6g} {unit_2}")))
        for a in one
        for b in two
    ]


def different(asked: Asked) -> int:
    """Number of different runs of a map."""
    return len({trial.inputs for trial in trials(asked)})


def file_of(name: str) -> Path:
    return HERE / f"full_map_{name}.json"


@dataclass(frozen=True)
class FullMap:
    """A kept map; `values` by name, (nodes, nodes) over its two axes."""

    asked: Asked
    values: dict[str, NDArray[np.float64]]

    @classmethod
    def read(cls, name: str) -> FullMap:
        kept = json.loads(file_of(name).read_text("utf-8"))
        return cls(MAPS[name], {value: np.array(kept[value]) for value in KEPT})

    def row(self, trial: Trial) -> Row:
        """Row of a trial as the map has it: straight between nodes, of segments by their number."""
        first, second = (float(value.split()[0]) for _, value in trial.inputs)
        one, two = self.asked.lines()
        if self.asked.axes[0][0] == "travel.segment":
            first = one[[segments(length) for length in one].index(segments(first))]
        told = {
            name: float(RegularGridInterpolator((one, two), v)((first, second)))
            for name, v in self.values.items()
        }
        base, filler = told["base_slack_K"], told["filler_slack_K"]
        return {
            **told,
            "margin_K": base + 50.0,
            "base_stays_solid": base >= 0.0,
            "filler_flows": filler >= 0.0,
            "failed": None,
        }


def main() -> None:
    name = sys.argv[1]
    workers = int(sys.argv[2]) if len(sys.argv) > 2 else None
    file = file_of(name)
    with (
        Processes(workers, warm_up) as pool,
        RowFile(file.with_suffix(".rows"), resume=True) as store,
    ):
        every, nodes = trials(MAPS[name]), MAPS[name].nodes
        rows = collect(pool, run_trial, every, store, lambda *at: print(*at, file=sys.stderr))
        failed = [(t.inputs, r["failed"]) for t, r in zip(every, rows, strict=True) if r["failed"]]
        if failed:
            raise SystemExit(f"{len(failed)} runs failed, the first at {failed[0]}")
        whole = {
            value: np.array([row[value] for row in rows], dtype=float).reshape(nodes, nodes)
            for value in KEPT
        }
        lines = []
        for value in KEPT:
            columns = [json.dumps([round(v, 2) for v in line]) for line in whole[value].tolist()]
            lines.append(f'"{value}": [\n' + ",\n".join(columns) + "\n]")
        file.write_text("{" + ",\n".join(lines) + "}\n", "utf-8")
        store.close(remove=True)


if __name__ == "__main__":
    main()
