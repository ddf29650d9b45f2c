"""The window against full maps of the demo, 41 x 41 and 21 x 21 runs, kept in `full_map_*.json`."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lapheat.case.file.every_key import settings_of
from lapheat.study.runs import Source, Trial, run_trial
from lapheat.study.runs.axes import given_axes
from lapheat.study.window.map import MEASURES, Sweep, WindowPlan, map_of
from study.full_map import MAPS, FullMap, different, trials
from study.stand_in import by_formula, now, stood_in
from study.test_window import apart, crossings, lines_of

HAND = (
    *("arc.control=pedal", "arc.hold=1260 degC", "arc.current=80 A", "travel.start=on-flow"),
    *("travel.dwell=0 s", "arc.aim=0 mm", "travel.order=opposite", "travel.resume_below=150 degC"),
)


@pytest.fixture(scope="module", params=MAPS)
def kept(request: pytest.FixtureRequest) -> FullMap:
    return FullMap.read(request.param)


@pytest.fixture(scope="module")
def sweep(kept: FullMap) -> Sweep:
    """The window of seven by seven, its runs read off the map."""
    source = kept.asked.source()
    axes = given_axes(kept.asked.vary(7), source.case())
    made = Sweep(WindowPlan(source, axes))
    now(stood_in(map_of(made), by_formula(kept.row)))
    return made


@pytest.mark.parametrize("name", MAPS)
def test_a_map_does_not_hang_on_the_hand_of_the_case(name: str) -> None:
    """A pedal that waits for flow, put under the map's own changes, changes no number it uses."""
    asked = MAPS[name]
    plain = asked.source()
    hand = Source(plain.text, plain.name, (*HAND, *asked.changes))
    for trial in (Trial(plain, ()), trials(asked)[0]):
        other = replace(trial, source=hand)
        apart = {
            mine.key: (mine.value, its.value)
            for mine, its in zip(settings_of(trial.case()), settings_of(other.case()), strict=True)
            if mine.value != its.value
        }
        assert apart.keys() <= {"arc.hold"}  # which a steady current does not use
        assert other.case().arc.control == "steady"


@pytest.mark.parametrize(("flag", "measure"), MEASURES.items())
def test_boundaries_are_within_a_twentieth_of_an_axis(
    kept: FullMap, sweep: Sweep, flag: str, measure: str
) -> None:
    there = crossings(kept.values[measure] >= 0.0)
    here = lines_of(sweep, measure)
    assert len(there) > 20, flag
    assert apart(there, here) <= 0.05
    assert apart(here, there) <= 0.05


def test_it_takes_a_fifth_of_the_runs_at_most(kept: FullMap, sweep: Sweep) -> None:
    """A fifth of 31 x 31 at most, which tell a boundary to a twentieth of an axis and more.

    A third of the different ones, where lengths that make equally many segments are one run.
    """
    assert len(sweep.runs) <= min(max(kept.asked.nodes, 31) ** 2 / 5, different(kept.asked) / 3)


def test_the_map_is_what_is_computed_now(kept: FullMap) -> None:
    """Runs by each boundary and one in a corner; rewrite the map if these have moved."""
    values = kept.values
    base, filler = (np.abs(values[measure][-12:]) for measure in MEASURES.values())
    nodes = kept.asked.nodes
    first = nodes - 12  # of `segment_pause` few segments, so that the runs are short
    places = [np.unravel_index(int(one.argmin()), one.shape) for one in (base, filler)]
    places = [(first + int(i), int(j)) for i, j in places] + [(nodes - 1, 0)]
    every = trials(kept.asked)
    for i, j in places:
        row = run_trial(every[i * nodes + j])
        for name, tolerance in (("base_slack_K", 0.5), ("filler_slack_K", 0.5), ("total_s", 0.01)):
            assert row[name] == pytest.approx(values[name][i, j], abs=tolerance)
