"""Kept rows with a right checksum and other columns: each kind of run tells them from its own."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from json import dumps
from types import SimpleNamespace
from typing import Any

import pytest

from lapheat.study.calibration.caliper.tracks import BeadRun, run_bead
from lapheat.study.calibration.points import ProbeRun, run_probes
from lapheat.study.chance.samples import Sample, run_sample
from lapheat.study.explain.measures import run_explained
from lapheat.study.find.model import think
from lapheat.study.find.telling import Telling, run_telling
from lapheat.study.runs import Row, RowFile, Serial, Source, Trial, collect, run_trial
from lapheat.study.runs.axes import free_axes
from lapheat.study.runs.trial import KINDS
from lapheat.study.sequences.orders import run_order
from lapheat.study.window.search import FreeTrial, run_free
from study.beads import SOURCE
from study.test_trial import TEXT

JOINT = Trial(Source(TEXT, "small.toml"), (("travel.coverage", "0.1"),))
FREE = free_axes("arc.aim=0 mm:1 mm", JOINT.case())
WORKS: dict[str, tuple[Callable[..., Row], Any]] = {
    "trial": (run_trial, JOINT),
    "sample": (run_sample, Sample(JOINT)),
    "free": (run_free, FreeTrial(JOINT, FREE, (0.5,))),
    "explained": (run_explained, JOINT),
    "order": (run_order, JOINT),
    "pick": (run_telling, Telling(JOINT.source, JOINT.inputs, JOINT.detail)),
    "bead": (run_bead, BeadRun(Trial(SOURCE, ()))),
    "probes": (run_probes, ProbeRun(Trial(SOURCE, ()), 5.0)),
    "places": (run_probes, ProbeRun(Trial(SOURCE, ()), 5.0, beside=True)),
}
# of a column, whatever its kind
SPOILT = ([], {}, "x", "[", '[1, "x"]', "[]", "{}", True, None, "1e999")


class Ready(Serial):
    """Has the row already."""

    def __init__(self, row: Row) -> None:
        self.row, self.ran = row, 0

    def run(self, work: object, tasks: Sequence[object]) -> Iterator[tuple[int, Row]]:
        del work
        self.ran += len(tasks)
        yield from ((index, self.row) for index in range(len(tasks)))


@cache
def good(kind: str) -> Row:
    work, task = WORKS[kind]
    row = work(task)
    assert row["failed"] is None, row
    return row


def runs_anew(kind: str, row: Row) -> bool:
    """Whether a kept row is left aside; then the good one is back."""
    work, task = WORKS[kind]
    executor, store = Ready(good(kind)), RowFile()
    store.rows[task.key()] = row
    store.kept.add(task.key())
    (found,) = collect(executor, work, [task], store)
    assert store.damaged == executor.ran
    assert found == (good(kind) if executor.ran else row)
    return bool(executor.ran)


@pytest.mark.parametrize("kind", WORKS)
def test_a_row_without_one_of_its_columns_is_run_anew(kind: str) -> None:
    row = good(kind)
    assert not runs_anew(kind, row)
    assert not runs_anew(kind, {"failed": "no reason"})
    for name in row.keys() - {"failed"}:
        assert runs_anew(kind, {key: value for key, value in row.items() if key != name}), name


@pytest.mark.parametrize("kind", WORKS)
def test_a_row_with_another_kind_of_column_is_run_anew(kind: str) -> None:
    """Except where it is a kind that the column may have."""
    row = good(kind)
    allowed = {name: kinds for name, kinds in KINDS.items() if name in row}
    for name in row.keys() - {"failed"}:
        for value in SPOILT:
            may = type(value) in allowed.get(name, (type(row[name]),)) and (
                not isinstance(value, str) or name == "filler_binding"
            )
            may = may or (value is None and name == "superheat_K")
            may = may or (name in ("findings", "also_look_at") and value == "[]")
            may = may or (name in ("on_limit", "cold_start") and value is True)
            assert runs_anew(kind, {**row, name: value}) is not may, (name, value)


def test_the_columns_of_a_trial_are_those_that_are_checked() -> None:
    assert good("trial").keys() == {*KINDS, "failed"}


SETTING = [[0.5, 0.25], 0.9, 0.9, 0.8, 1.0, 300.0, 40.0, 30.0]
THOUGHTS = {
    "no settings": {"settings": []},
    "a knob less": {"settings": [[[0.5], *SETTING[1:]]]},
    "a number less": {"settings": [SETTING[:-1]]},
    "a text": {"settings": [[*SETTING[:-1], "x"]]},
    "not a number": {"settings": [[*SETTING[:-1], float("nan")]]},
    "no bench": {"looks": []},
    "a bench of another width": {"looks": [[0.5, 0.25]]},
    "benches of two widths": {"looks": [[0.5, 0.25, 0.0], [0.5, 0.25]]},
    "one fit": {"q2": [0.9]},
    "no fits": {"q2": None},
}


@pytest.mark.parametrize("what", THOUGHTS)
def test_a_forged_thought_is_thought_anew(what: str) -> None:
    """Of a search with two knobs and one input of the scatter."""
    task: Any = SimpleNamespace(space=SimpleNamespace(size=(2, 1)), key=lambda: "thought")
    whole = {"settings": [SETTING], "looks": [[0.5, 0.25, 0.0]], "q2": [0.9, 0.95]}
    for thought, times in ((whole, 0), (whole | THOUGHTS[what], 1), ([], 1)):
        row: Row = {"thought": dumps(thought), "failed": None}
        executor, store = Ready({"thought": dumps(whole), "failed": None}), RowFile()
        store.rows["thought"], store.kept = row, {"thought"}
        collect(executor, think, [task], store)
        assert executor.ran == times
