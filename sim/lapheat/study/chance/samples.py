"""A case on the benches of its scatter: samples to run, and the chance that their rows give.

`on_benches` is a short risk: one setting on fresh benches, without what drives it.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.file import CaseError, case_to_toml
from ...version import mark
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.store import reads
from ..runs.trial import Source, Trial, check_row, run_trial
from .bench import Input, inputs_of, points, wilson
from .smooth import Smooth, chances_below

__all__ = [
    "Benched",
    "Chance",
    "ChanceTask",
    "Sample",
    "chance_row",
    "on_benches",
    "run_sample",
    "sample_at",
    "smooth_from",
    "values_of",
    "whole_of",
]

Array = NDArray[np.float64]
Inputs = tuple[tuple[str, str], ...]

MEASURED = ("margin_K", "filler_slack_K")  # below 0 the base melts, the filler fails


@dataclass(frozen=True)
class Sample:
    """A trial whose case is whole, so that its text alone identifies it: 20 ms less each."""

    trial: Trial

    def key(self) -> str:
        """Hash of the case and of what is put over it."""
        trial = self.trial
        told = f"{mark()}\n{trial.detail} {trial.inputs}\n{trial.source}"
        return hashlib.sha256(told.encode()).hexdigest()[:24]


def run_sample(sample: Sample) -> Row:
    """Run it; see `run_trial`."""
    return run_trial(sample.trial)


reads(run_sample, check_row)


@dataclass(frozen=True)
class Chance:
    """How often something was met: `hits` of `count` runs; of `failed` more nobody knows."""

    hits: int
    count: int
    failed: int = 0

    @property
    def value(self) -> float:
        """Share of the runs that succeeded."""
        return self.hits / self.count if self.count else 0.0

    @property
    def interval(self) -> tuple[float, float]:
        """95 %, wide enough for the failed runs to have gone either way."""
        every = self.count + self.failed
        return wilson(self.hits, every)[0], wilson(self.hits + self.failed, every)[1]


@dataclass(frozen=True)
class ChanceTask:
    """Runs (n, d), measures (n,) of each [K], and how many runs failed: how often below zero?"""

    at: Array
    measures: tuple[Array, ...]
    failed: int
    seed: int


def chance_row(task: ChanceTask) -> Row:
    """Chances as a flat row, of each measure and of any of them."""
    row: Row = {"failed": None}
    for i, found in enumerate(chances_below(task.at, task.measures, task.seed)):
        if task.failed:  # what could not be run may have gone either way
            found = _counted_with(found, task, i)
        numbers = {"chance": found.chance, "low": found.low, "high": found.high, "q2": found.q2}
        row |= {f"{name}.{i}": round(value, 9) for name, value in numbers.items()}
        row[f"used.{i}"] = found.used
    return row


def _counted_with(found: Smooth, task: ChanceTask, i: int) -> Smooth:
    below = [values < 0.0 for values in task.measures]
    hit = below[i] if i < len(below) else np.logical_or.reduce(below)
    chance = Chance(int(hit.sum()), len(hit), task.failed)
    return Smooth(chance.value, *chance.interval, found.q2, used=False)


def smooth_from(row: Row, i: int) -> Smooth:
    """Take the chance of measure `i` from its row."""
    chance, low, high, q2 = (
        float(row[f"{name}.{i}"] or 0.0) for name in ("chance", "low", "high", "q2")
    )
    return Smooth(chance, low, high, q2, bool(row[f"used.{i}"]))


@dataclass(frozen=True)
class Benched:
    """What fresh benches say of a setting.

    Attributes
    ----------
    chance, low, high : that a bench succeeds: base below its solidus, filler flowing; 95 % interval
    benches, hits : how many were run, how many of them succeed
    smooth : the chance is integrated over a fitted response, not counted
    fails : of the others, by what fails most: "base", the key of a limit, "failed" without a result
    spread : standard deviations of margin and slack over the benches [K]; nan where not known
    """

    chance: float
    low: float
    high: float
    benches: int
    hits: int
    smooth: bool
    fails: dict[str, int] = field(default_factory=dict)
    spread: tuple[float, float] = (float("nan"), float("nan"))


def sample_at(source: Source, inputs: Inputs, z: Array, detail: str) -> Sample:
    """Sample of a setting on one bench; the case is written out whole at that setting.

    So a default that follows from what was set does, and one that follows from what varies stays.

    Parameters
    ----------
    source : the case
    inputs : keys and values of the setting
    z : (d,) standard deviations of each of the setting's `inputs_of`
    detail : mesh
    """
    try:
        case = source.case(tuple(f"{key}={text}" for key, text in inputs))
    except CaseError:  # the run tells why
        return Sample(Trial(source, inputs, detail))
    entries = inputs_of(case)
    return _sample(whole_of(case, source.name), entries, inputs, z, detail)


def whole_of(case: Case, name: str) -> Source:
    """Case written out, without the scatter: a bench has strayed already, and strays no more."""
    return Source(case_to_toml(replace(case, scatter={})), name)


def _sample(
    whole: Source, entries: Sequence[Input], inputs: Inputs, z: Array, detail: str
) -> Sample:
    varied = {entry.key for entry in entries}
    set_ = tuple((key, text) for key, text in inputs if key not in varied)
    drawn = tuple((e.key, e.text(float(value))) for e, value in zip(entries, z, strict=True))
    return Sample(Trial(whole, (*set_, *drawn), detail))


def on_benches(
    source: Source,
    inputs: Inputs,
    detail: str,
    count: int,
    seed: int,
    shift: tuple[float, float] = (0.0, 0.0),
    doing: str = "fresh benches",
    later: int = 0,
) -> Planner[tuple[Benched, Array, list[Row]]]:
    """Run a setting on fresh benches; what they say, where they lie (n, d), and their rows.

    Parameters
    ----------
    source, inputs, detail : as in `sample_at`
    count, seed : of the benches
    shift : put on each margin and slack, for a finer mesh [K]
    doing, later : as in `Round`

    Raises
    ------
    CaseError
        The setting is refused.
    """
    case = source.case(tuple(f"{key}={text}" for key, text in inputs))
    whole, entries = whole_of(case, source.name), inputs_of(case)
    at = points(count, len(entries), seed)
    samples = [_sample(whole, entries, inputs, z, detail) for z in at]
    rows = yield Round(doing, run_sample, samples, later)
    found = [values_of(rows, name) + by for name, by in zip(MEASURED, shift, strict=True)]
    known = ~np.isnan(found[0])
    can = [values[known] for values in found if np.isfinite(values).any()]
    good = known & (found[0] >= 0.0) & (found[1] >= 0.0)
    fails = Counter(
        "failed"
        if row.get("failed") is not None
        else "base"
        if found[0][i] < found[1][i]
        else str(row.get("filler_binding"))
        for i, row in enumerate(rows)
        if not good[i]
    )
    ends = Chance(int((known & ~good).sum()), int(known.sum()), int((~known).sum()))
    low, high = ends.interval
    smooth = Smooth(ends.value if known.any() else 1.0, low, high, 0.0, False)
    if can and known.any():
        task = ChanceTask(at[known], tuple(can), int((~known).sum()), seed)
        (row,) = yield Round("chances", chance_row, [task], later, kept=False)
        if row.get("failed") is None:
            smooth = smooth_from(row, len(can))
    elif known.all():  # nothing in it can fail
        smooth = Smooth(0.0, 0.0, 0.0, 1.0, True)
    spread = [float(np.std(v[np.isfinite(v)])) if np.isfinite(v).any() else np.nan for v in found]
    return (
        Benched(
            chance=round(1.0 - smooth.chance, 6),
            low=round(1.0 - smooth.high, 6),
            high=round(1.0 - smooth.low, 6),
            benches=count,
            hits=int(good.sum()),
            smooth=smooth.used,
            fails=dict(sorted(fails.items(), key=lambda item: (-item[1], item[0]))),
            spread=(spread[0], spread[1]),
        ),
        at,
        rows,
    )


def values_of(rows: Sequence[Row], name: str) -> Array:
    """Measure of each row [K]: nan of a failed one, inf where it cannot fail that way."""
    values = [
        np.nan
        if row.get("failed") is not None
        else np.inf
        if row.get(name) is None
        else float(row[name] or 0.0)
        for row in rows
    ]
    return np.array(values, dtype=float)
