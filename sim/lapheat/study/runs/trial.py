"""One trial: a case with some keys changed, run to a flat row of numbers."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from math import isfinite
from os import PathLike
from pathlib import Path
from types import NoneType
from typing import TYPE_CHECKING

from ...case.file import CaseError, case_text, read_case_text
from ...case.file.every_key import settings_of
from ...joint.lines import mesh_lines
from ...version import mark
from .executors import Row, Value
from .slacks import slacks_of
from .store import reads

if TYPE_CHECKING:
    from ...api import Result
    from ...case.case import Case
    from ...outcomes.outcomes import FillerOutcome

__all__ = ["Source", "Trial", "check_row", "row_of", "run_to", "run_trial", "warm_up"]

# of a row: numbers that every run gives, and those that some joints do not have
ALWAYS = (
    *("total_s", "arc_on_s", "tube_peak_C", "tube_bore_peak_C", "tube_melted_wall_fraction"),
    *("hottest_start_C", "segments", "imbalance"),
)
SOME = (
    *("pedal_low_s", "pedal_high_s"),
    *("margin_K", "base_slack_K", "surplus_K", "filler_slack_K", "tube_margin_K", "spread_K"),
    *("flange_margin_K", "flange_peak_C", "filler_peak_C", "tube_side_wet", "flange_side_wet"),
    *("tube_side_surplus_K", "flange_side_surplus_K", "tube_side_slack_K"),
    *("flange_side_slack_K", "stretch_surplus_K", "longest_dry_m"),
)
KINDS: dict[str, tuple[type, ...]] = {
    "base_stays_solid": (bool,),
    "filler_flows": (bool,),
    "filler_binding": (str, NoneType),
    **dict.fromkeys(ALWAYS, (float, int)),
    **dict.fromkeys(SOME, (float, int, NoneType)),
}
DIGITS = 10  # significant ones in a row, as in outcomes.json


@dataclass(frozen=True)
class Source:
    """A case file's text, read once, the changes put over all of it, and its path."""

    text: str
    name: str = field(repr=False)  # rows are told apart by the rest, wherever the file lies
    changes: tuple[str, ...] = ()

    @classmethod
    def of(cls, path: str | PathLike[str], changes: tuple[str, ...] = ()) -> Source:
        """Read the file.

        Parameters
        ----------
        path : the case file
        changes : "KEY=VALUE" texts, as for `read_case`

        Raises
        ------
        CaseError
            It is not the text of a case file. The case itself may still have faults.
        """
        return cls(case_text(path), str(Path(path)), changes)

    def case(self, changes: tuple[str, ...] = (), detail: str | None = None) -> Case:
        """Case with more changes put over it.

        Raises
        ------
        CaseError
            As for `read_case` and `mesh_lines`.
        """
        case = read_case_text(self.text, self.name, (*self.changes, *changes), detail)
        mesh_lines(case)  # a mesh too large is refused before the first run
        return case


@dataclass(frozen=True)
class Trial:
    """A run to make: `inputs` are keys of a case file and their values, as text with units.

    `detail` None leaves the case its own.
    """

    source: Source
    inputs: tuple[tuple[str, str], ...]
    detail: str | None = "coarse"

    def case(self) -> Case:
        """Case of this trial.

        Raises
        ------
        CaseError
            As for `read_case`.
        """
        return self.source.case(tuple(f"{key}={value}" for key, value in self.inputs), self.detail)

    def key(self) -> str:
        """Hash of the resolved inputs: the same for "1 in" and "25.4 mm"."""
        try:
            case = self.case()
            resolved = f"{[(row.key, row.value) for row in settings_of(case)]} {case.alloys}"
        except CaseError as error:
            resolved = f"{self} {error}"
        return hashlib.sha256(f"{mark()}\n{resolved}".encode()).hexdigest()[:24]


def run_trial(trial: Trial) -> Row:
    """Run a trial, on one thread; a refused or failed one has its reason under `failed`."""
    return run_to(trial, row_of)


def run_to(trial: Trial, row: Callable[[Result], Row]) -> Row:
    """Run a trial as `run_trial` does, to a row of another kind."""
    from ...api import simulate  # numba takes a second
    from ...march.errors import MarchError

    try:
        return row(simulate(trial.case(), threads=1))
    except CaseError as error:
        told = [f"{f.key}: {f.given}; allowed: {f.allowed}" for f in error.faults]
        keys = " ".join(sorted({f.key for f in error.faults}))
        return {"failed": f"refused: {'; '.join(told)}", "refused": keys}
    except MarchError as error:
        return {"failed": f"the computation failed: {error}"}


def row_of(result: Result) -> Row:
    """Flat row of a run, under the names of `outcomes.json` with _ for its dots.

    `margin_K` is the lesser margin of tube and flange, `base_slack_K` what it has over the wanted
    one; `surplus_K` is the least surplus of the filler, `filler_slack_K` what it has over the
    wanted one: below zero where the filler fails, and still showing how far where all or nothing
    is wet. `filler_binding` is the key of the limit that leaves it least. `pedal_low_s` and
    `pedal_high_s` are how long the pedal stood on each limit. `hottest_start_C` and `spread_K`
    (highest less lowest tube peak) are over the segments.
    What the joint does not have, or cannot (an alloy that never melts), is None.
    """
    told = result.outcomes
    tube, flange, filler, segments = told.tube, told.flange, told.filler, told.segments
    margins = [part.margin_K for part in (tube, flange) if part and part.margin_K is not None]
    peaks = [s.tube_peak_C for s in segments if s.tube_peak_C is not None]
    limits = result.case.limits

    def value(outcome: str) -> float | None:
        table, _, name = outcome.partition(".")
        found: float | None = getattr(getattr(told, table), name, None)
        return found

    slacks = [s for s in slacks_of(value, limits) if s.binds]
    base = [s for s in slacks if s.limit == "limits.base_margin"]
    least = min((s for s in slacks if s not in base), key=lambda s: s.kelvin, default=None)
    row: Row = {
        "base_stays_solid": told.verdict.base_stays_solid,
        "filler_flows": told.verdict.filler_flows,
        "margin_K": min(margins, default=None),
        "base_slack_K": min((s.kelvin for s in base), default=None),
        "surplus_K": _surplus(filler) if filler else None,
        "filler_slack_K": least.kelvin if least else None,
        "filler_binding": least.limit if least else None,
        "total_s": told.time.total_s,
        "arc_on_s": told.time.arc_on_s,
        "tube_margin_K": tube.margin_K,
        "tube_peak_C": tube.peak_C,
        "tube_bore_peak_C": tube.bore_peak_C,
        "tube_melted_wall_fraction": tube.melted_wall_fraction,
        "flange_margin_K": flange.margin_K if flange else None,
        "flange_peak_C": flange.peak_C if flange else None,
        "filler_peak_C": filler.peak_C if filler else None,
        "tube_side_wet": filler.tube_side_wet if filler else None,
        "flange_side_wet": filler.flange_side_wet if filler else None,
        "tube_side_surplus_K": filler.tube_side_surplus_K if filler else None,
        "flange_side_surplus_K": filler.flange_side_surplus_K if filler else None,
        "tube_side_slack_K": filler.tube_side_surplus_K - limits.flow_margin if filler else None,
        "flange_side_slack_K": filler.flange_side_surplus_K - limits.flow_margin
        if filler
        else None,
        "stretch_surplus_K": filler.stretch_surplus_K if filler else None,
        "longest_dry_m": filler.longest_dry_m if filler else None,
        "pedal_low_s": told.current.on_low_limit_s,
        "pedal_high_s": told.current.on_high_limit_s,
        "hottest_start_C": max(s.start_C for s in segments),
        "spread_K": max(peaks) - min(peaks) if peaks else None,
        "segments": len(segments),
        # its round-off depends on how the machine code was made: rows are the same on any executor
        "imbalance": round(told.heat.imbalance, 12) + 0.0,
    }
    return {**{name: _tidy(value) for name, value in row.items()}, "failed": None}


def check_row(task: object, row: Row) -> None:
    """Check that a kept row has the columns of `row_of`.

    Raises
    ------
    ValueError
        It has not, or a text where a number belongs.
    """
    del task
    for name, kinds in KINDS.items():
        if type(row.get(name, ...)) not in kinds:
            raise ValueError(name)


reads(run_trial, check_row)


def _surplus(filler: FillerOutcome) -> float:
    """Least of what the verdict asks of the filler, above its liquidus [K]."""
    sides = filler.tube_side_surplus_K, filler.flange_side_surplus_K
    return min(*sides, filler.stretch_surplus_K)


def _tidy(value: Value) -> Value:
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if isfinite(value) else None
    return value


_TINY = """
joint = "bead-on-tube"
tube = { outside_diameter = "8 mm", wall = "1 mm", length = "10 mm" }
arc = { current = "10 A", spot = "2 mm" }
travel = { speed = "5 mm/s", segment = "8 mm", pause = "1 s", coverage = 0.2 }
"""


def warm_up() -> None:
    """Compile the march, or load it from numba's cache, by a run that takes no time."""
    from ...api import simulate

    simulate(read_case_text(_TINY, "warm up", detail="coarse"), threads=1)
