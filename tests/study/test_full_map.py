"""The window against the demo's full map of 41 x 41 runs, kept in `full_map.json`."""

from __future__ import annotations

import numpy as np
import pytest

from lapheat.study import Row, RowFile, Serial, Trial, run_trial
from lapheat.study.axes import given_axes
from lapheat.study.window import MEASURES, Plan, Sweep, map_of
from study.full_map import NODES, VARY, FullMap, source, trials
from study.test_window import apart, crossings, lines_of

KEPT = FullMap.read()


def kept_row(trial: Trial) -> Row:
    return KEPT.row(trial)


@pytest.fixture(scope="module")
def sweep() -> Sweep:
    """The window of seven by seven, its runs read off the map."""
    axes = given_axes([text.format(7) for text in VARY], source().case())
    made = Sweep(Plan(source(), axes), Serial(), RowFile(), work=kept_row)
    map_of(made)
    return made


@pytest.mark.parametrize(("flag", "measure"), MEASURES.items())
def test_boundaries_are_within_a_twentieth_of_an_axis(
    sweep: Sweep, flag: str, measure: str
) -> None:
    there = crossings(KEPT.values[measure] >= 0.0)
    here = lines_of(sweep, measure)
    assert len(there) > 20, flag
    assert apart(there, here) <= 0.05
    assert apart(here, there) <= 0.05


def test_it_takes_a_third_of_the_different_runs_at_most(sweep: Sweep) -> None:
    """A fifth of the nodes, too; lengths that make equally many segments are one run."""
    assert len(sweep.runs) <= min(NODES**2 / 5, 328 / 3)


def test_the_map_is_what_is_computed_now() -> None:
    """Runs by each boundary and one in a corner; rewrite the map if these have moved."""
    values = KEPT.values
    base, filler = (np.abs(values[measure][-12:]) for measure in MEASURES.values())
    first = NODES - 12  # few segments, so that the runs are short
    places = [np.unravel_index(int(one.argmin()), one.shape) for one in (base, filler)]
    places = [(first + int(i), int(j)) for i, j in places] + [(NODES - 1, 0)]
    every = trials()
    for i, j in places:
        row = run_trial(every[i * NODES + j])
        for name, tolerance in (("base_slack_K", 0.5), ("surplus_K", 0.5), ("total_s", 0.01)):
            assert row[name] == pytest.approx(values[name][i, j], abs=tolerance)
