"""The window on joints by formula: boundaries, runs spent, the pick, nearest miss and files."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from lapheat.study.chance.samples import on_benches
from lapheat.study.runs import Row, RowFile, Source, Trial
from lapheat.study.runs.axes import given_axes
from lapheat.study.window.boundary import along, level_lines
from lapheat.study.window.files import window_dict, write_window
from lapheat.study.window.map import MEASURES, Sweep, WindowPlan, map_of, slack
from lapheat.study.window.pick import choose
from lapheat.study.window.tried import Pick
from lapheat.study.window.window import Window, window_of
from study.full_map import CASE as DEMO
from study.full_map import STEADY
from study.stand_in import by_formula, given, hopeless, made_row, now, smooth, stepped, stood_in

Array = NDArray[np.float64]
SOURCE = Source.of(DEMO, STEADY)
CASE = SOURCE.case()
SPEED = ("arc.current=40 A:100 A:7", "travel.speed=1 mm/s:4 mm/s:7")
STAIRS = ("travel.segment=8 mm:24 mm:7", "travel.pause=2 s:30 s:7")
THREE = ("arc.current=40 A:100 A:3", "travel.speed=1 mm/s:4 mm/s:3", "travel.pause=5 s:30 s:2")
NODES = 41


def plan_of(texts: tuple[str, ...], detail: str = "coarse", source: Source = SOURCE) -> WindowPlan:
    return WindowPlan(source, given_axes(texts, source.case()), detail=detail)


def mapped(texts: tuple[str, ...], work: Callable[[Trial], Row]) -> Sweep:
    sweep = Sweep(plan_of(texts))
    now(stood_in(map_of(sweep), by_formula(work)))
    return sweep


def windowed(plan: WindowPlan, work: Callable[[Trial], Row]) -> tuple[Window, RowFile]:
    store = RowFile()
    return now(stood_in(window_of(plan), by_formula(work)), store=store), store


def crossings(works: NDArray[np.bool_]) -> Array:
    """Middles of the steps of a full map over which a flag flips, in shares of the axes."""
    nodes = len(works)
    shares = np.linspace(0.0, 1.0, nodes)
    found = []
    for i, j in product(range(nodes), range(nodes)):
        for di, dj in ((1, 0), (0, 1)):
            a, b = i + di, j + dj
            if a < nodes and b < nodes and works[i, j] != works[a, b]:
                found.append([0.5 * (shares[i] + shares[a]), 0.5 * (shares[j] + shares[b])])
    return np.array(found).reshape(-1, 2)


def lines_of(sweep: Sweep, measure: str) -> Array:
    """Points along a window's boundary, close together, in shares of the axes."""
    places = np.array([run.place for run in sweep.sorted()])
    values = np.array([slack(run.row, measure) for run in sweep.sorted()])
    lines = [along(line, 0.005) for line in level_lines(places, values)]
    return np.concatenate(lines) if lines else np.empty((0, 2))


def apart(from_: Array, to: Array) -> float:
    """Farthest that one of the first lies from the nearest of the others, along either axis."""
    return float(np.abs(from_[:, None] - to[None]).max(axis=2).min(axis=1).max())


@pytest.mark.parametrize(("texts", "work"), [(SPEED, smooth), (STAIRS, stepped)])
def test_boundaries_are_those_of_a_full_map_with_a_fifth_of_its_runs(
    texts: tuple[str, ...], work: Callable[[Trial], Row]
) -> None:
    sweep = mapped(texts, work)
    shares = np.linspace(0.0, 1.0, NODES)
    full = [
        work(Trial(SOURCE, sweep.inputs_at((float(a), float(b))))) for a in shares for b in shares
    ]
    for flag, measure in MEASURES.items():
        works = np.array([bool(row[flag]) for row in full]).reshape(NODES, NODES)
        there, here = crossings(works), lines_of(sweep, measure)
        assert len(there) > NODES // 2
        assert apart(there, here) <= 0.05
        assert apart(here, there) <= 0.05
    assert len(sweep.runs) <= NODES**2 / 5


def test_no_run_is_wasted_far_from_the_boundaries() -> None:
    sweep = mapped(SPEED, smooth)
    lines = np.concatenate([lines_of(sweep, measure) for measure in MEASURES.values()])
    grid = {(round(i / 6, 6), round(j / 6, 6)) for i in range(7) for j in range(7)}
    more = [p for p in sweep.runs if (round(p[0], 6), round(p[1], 6)) not in grid]
    assert 20 < len(more) < 52
    assert apart(np.array(more), lines) < 1 / 12


def test_three_axes_are_refined_too() -> None:
    sweep = mapped(THREE, smooth)
    assert len({place[2] for place in sweep.runs}) == 2  # nothing flips along the pause
    assert all(b.place[axis] - a.place[axis] <= 0.0501 for _, axis, a, b in sweep.crossed())


def test_the_pick_is_the_quickest_that_works_in_full() -> None:
    window, _ = windowed(plan_of(SPEED), smooth)
    run, confirmed = window.pick.run, window.pick.confirmed
    assert run is not None
    assert confirmed is not None
    assert confirmed["base_stays_solid"] is confirmed["filler_flows"] is True
    # in full it is 9 K closer to melting and 4 K hotter under the filler: see `smooth`
    assert [(d.base, d.filler) for d in window.differences] == [(-9.0, 4.0)] * 2
    sweep = Sweep(window.plan)
    quicker = 0
    for other in window.runs:
        full = smooth(Trial(SOURCE, sweep.settable(other)[1], None))  # as a person sets it
        if float(full["total_s"] or 0.0) < float(confirmed["total_s"] or 0.0):
            assert not (full["base_stays_solid"] and full["filler_flows"])
            quicker += 1
    assert quicker > 5
    base, filler = (float(confirmed[name] or 0.0) for name in MEASURES.values())
    assert f"stays solid (margin {base + 50.0:.0f} K where 50 K are wanted)" in window.pick.why
    assert f"flows (surplus {filler + 10.0:.0f} K where 10 K are wanted)" in window.pick.why


def never_in_full(trial: Trial) -> Row:
    """A joint that melts at the case's own detail wherever it is quick."""
    row = smooth(trial)
    if trial.detail is None and float(row["total_s"] or 0.0) < 190.0:
        return made_row(-1.0, float(row["filler_slack_K"] or 0.0), float(row["total_s"] or 0.0))
    return row


def test_what_is_not_confirmed_is_passed_over() -> None:
    picks = now(stood_in(choose(mapped(SPEED, never_in_full), []), by_formula(never_in_full)))
    pick = picks.quickest
    assert pick.run is not None
    assert pick.confirmed is not None
    assert float(pick.confirmed["total_s"] or 0.0) >= 190.0


def test_at_its_own_detail_nothing_is_run_twice() -> None:
    """To the map come the picks as a person sets them, each once, and the benches of two."""
    plan, store = plan_of(SPEED, "standard"), RowFile()
    now(stood_in(map_of(Sweep(plan)), by_formula(smooth)), store=store)
    before = len(store.rows)
    window = now(stood_in(window_of(plan), by_formula(smooth)), store=store)
    assert window.differences == ()
    assert window.pick.run is not None
    assert window.safest is not None
    new = len(window.runs) - before
    assert len(store.rows) == before + new + 2 * 64
    assert 1 <= new <= 6


def test_where_nothing_works_the_nearest_miss_and_its_lever_are_named() -> None:
    window, _ = windowed(plan_of(SPEED), hopeless)
    assert window.pick.run is None
    assert window.pick.nearest is not None
    assert dict(window.pick.nearest.inputs) == {"arc.current": "40 A", "travel.speed": "1 mm/s"}
    assert "the nearest miss is arc.current = 40 A, travel.speed = 1 mm/s" in window.pick.why
    assert (
        "where the base melts (margin 0 K where 50 K are wanted), but the filler flows (surplus "
        "60 K where 10 K are wanted); "
    ) in window.pick.why
    # base: -20 - 30 x speed - (current - 40), over ranges from half to twice those of the map
    assert (
        "no key opens it from there; arc.current = 20 A (40 A there) and travel.speed = 0.5 mm/s "
        "(1 mm/s there) come closest, 15 K short of what is wanted, where the miss is 50 K short"
    ) in window.pick.why
    told = window_dict(window)
    assert told["pick"] is None
    assert told["why"] == window.pick.why


def leaning(trial: Trial) -> Row:
    """A joint that a torch 5 deg flatter opens, and nothing else alone."""
    aside = abs(given(trial, "arc.work_angle", 55.0) - 50.0)
    return made_row(float(hopeless(trial)["base_slack_K"] or 0.0) + 60.0 - 12.0 * aside, 50.0, 9.0)


def test_an_angle_that_opens_the_nearest_miss_is_named() -> None:
    window, _ = windowed(plan_of(SPEED), leaning)
    assert window.pick.run is None
    assert "arc.work_angle = 50 deg (55 deg there)" in window.pick.why, window.pick.why
    assert "no key opens it" not in window.pick.why


def refused(trial: Trial) -> Row:
    return {"failed": f"refused: {len(trial.inputs)} keys"}


def test_where_every_run_fails_the_reason_is_told(tmp_path: Path) -> None:
    window, store = windowed(plan_of(SPEED), refused)
    assert window.pick == Pick(None, None, "no run succeeded: refused: 2 keys")
    told = json.loads(write_window(window, tmp_path / "out", store)[0].read_text("utf-8"))
    assert (told["pick"], told["why"]) == (None, window.pick.why)


def half_refused(trial: Trial) -> Row:
    return refused(trial) if given(trial, "arc.current", 66.0) < 55.0 else smooth(trial)


def test_failed_runs_are_rows_and_leave_the_rest_alone(tmp_path: Path) -> None:
    window, store = windowed(plan_of(SPEED), half_refused)
    files = write_window(window, tmp_path / "out", store)
    told = json.loads(files[0].read_text("utf-8"))
    failed = [run for run in told["runs"] if run["failed"]]
    assert len(failed) == 14
    assert failed[0]["total_s"] is None
    assert told["pick"] is not None


def test_files_hold_what_the_contract_names(tmp_path: Path) -> None:
    window, store = windowed(plan_of(SPEED), smooth)
    assert window.pick.run is not None
    files = write_window(window, tmp_path / "out", store)
    names = ["window.json", "window.csv", "rows.jsonl"]
    names += ["figures/window.png", "figures/window.svg"]
    assert [str(path.relative_to(tmp_path / "out")) for path in files] == names
    told = json.loads(files[0].read_text("utf-8"))
    assert [(a["key"], a["unit"], len(a["values"])) for a in told["axes"]] == [
        ("arc.current", "A", 7),
        ("travel.speed", "mm/s", 7),
    ]
    first = told["runs"][0]
    assert first["inputs"] == {"arc.current": "40 A", "travel.speed": "1 mm/s"}
    assert first.keys() >= {
        *("tube_margin_K", "flange_margin_K", "tube_side_wet", "flange_side_wet", "total_s"),
        *("base_stays_solid", "filler_flows", "failed"),
        *("surplus_K", "tube_side_surplus_K", "flange_side_surplus_K", "longest_dry_m"),
    }
    assert told["pick"].keys() == {
        *("inputs", "at", "why", "margin_K", "surplus_K", "total_s", "confirmed"),
        *("chance", "low", "high", "way", "benches", "succeed", "fails_by"),
    }
    assert told["safest"].keys() == told["pick"].keys()
    assert told["safest"]["chance"] >= told["pick"]["chance"]
    assert told["pick"]["surplus_K"] == window.pick.run.row["surplus_K"] >= 10.0
    assert told["pick"]["confirmed"]["base_stays_solid"] is True
    assert {name: len(lines) for name, lines in told["boundaries"].items()} == {
        "base_melts": 1,
        "filler_cold": 1,
    }
    with files[1].open(encoding="utf-8") as text:
        rows = list(csv.DictReader(text))
    assert len(rows) == len(told["runs"])
    assert float(rows[0]["arc.current [A]"]) == 40.0
    assert rows[0]["base_stays_solid"] == "true"
    for name in ("tube_side_surplus_K", "flange_side_surplus_K", "longest_dry_m"):
        assert [float(row[name]) for row in rows] == [run[name] for run in told["runs"]]
    assert files[3].read_bytes()[:4] == b"\x89PNG"


def test_more_axes_are_small_multiples(tmp_path: Path) -> None:
    window, store = windowed(plan_of(THREE), smooth)
    files = write_window(window, tmp_path / "out", store)
    assert [path.name for path in files[3:]] == ["window.png", "window.svg"]
    assert window_dict(window)["boundaries"] == {"base_melts": [], "filler_cold": []}


def test_picks_are_settings_that_a_person_can_make() -> None:
    window, _ = windowed(plan_of(SPEED), smooth)
    assert window.safest is not None
    for pick in (window.pick, window.safest):
        assert pick.run is not None
        inputs = dict(pick.run.inputs)
        assert inputs["arc.current"] == f"{given_number(inputs['arc.current']):.0f} A"
        assert inputs["travel.speed"] == f"{round(given_number(inputs['travel.speed']), 1):g} mm/s"
        # what is confirmed is the rounded setting itself
        full = smooth(Trial(SOURCE, pick.run.inputs, None))
        assert pick.confirmed == full


def given_number(text: str) -> float:
    return float(text.split()[0])


def test_chances_of_both_picks_are_those_of_many_more_benches() -> None:
    window, _ = windowed(plan_of(SPEED), smooth)
    assert window.safest is not None
    for pick in (window.pick, window.safest):
        assert pick.run is not None
        assert pick.benched is not None
        assert pick.benched.low - 0.02 <= counted(pick.run.inputs) <= pick.benched.high + 0.02
    assert window.safest.benched is not None
    assert window.safest.benched.chance >= 0.95


def counted(inputs: tuple[tuple[str, str], ...], benches: int = 1024) -> float:
    """Chance of a setting, counted: its full mesh is 9 K hotter and 4 K better, as on the map."""
    (found, _, _) = now(
        stood_in(on_benches(SOURCE, inputs, "coarse", benches, 77, (-9.0, 4.0)), by_formula(smooth))
    )
    return found.hits / benches


def notes_of(vary: tuple[str, ...], changes: tuple[str, ...] = ()) -> tuple[str, ...]:
    source = Source(SOURCE.text, SOURCE.name, (*SOURCE.changes, *changes))
    window, _ = windowed(plan_of(vary, source=source), smooth)
    assert window_dict(window)["notes"] == list(window.notes)
    return tuple(note for note in window.notes if "near a limit" not in note)


def test_part_of_the_ring_is_told_and_whether_times_compare() -> None:
    assert notes_of(SPEED) == ()
    assert notes_of(SPEED, ("travel.coverage=0.5",)) == (
        "Only 50 % of the ring is run, as travel.coverage is below 1: times and temperatures are "
        "those of this part.",
    )
    vary = ("travel.segment=12 mm:20 mm:3", "travel.speed=1 mm/s:4 mm/s:3")
    assert not any("comparable" in note for note in notes_of(vary))  # all of the ring is laid
    (told, *_) = notes_of(vary, ("travel.coverage=0.5",))
    assert told.startswith(
        "Times are not comparable, as travel.segment varies and the laid length with it: from 44 "
        "to 57 % of the ring from point to point."
    )
    vary = ("travel.coverage=0.3:1:3", "travel.speed=1 mm/s:4 mm/s:3")
    assert notes_of(vary)[0].startswith("Times are not comparable, as travel.coverage varies and")


def test_a_pick_on_the_edge_is_told_unless_nothing_lies_beyond() -> None:
    slow = ("arc.current=40 A:100 A:5", "travel.speed=1 mm/s:1.6 mm/s:3")
    (told,) = notes_of(slow)
    assert told == (
        "The quickest lies on the edge of the map: travel.speed = 1.6 mm/s, the highest tried. "
        "Settings beyond may be better."
    )
    window, _ = windowed(plan_of(("travel.pause=0 s:30 s:3", SPEED[1])), quickest)
    assert window.pick.run is not None
    assert dict(window.pick.run.inputs)["travel.pause"] == "0 s"
    assert not any("edge" in note for note in window.notes)  # a pause below 0 s is no setting


def quickest(trial: Trial) -> Row:
    """A joint that works at any pause, and the quicker the nearer to 2.5 mm/s."""
    speed, pause = given(trial, "travel.speed", 2.0), given(trial, "travel.pause", 15.0)
    return made_row(20.0, 20.0, 100.0 + 3.0 * pause + abs(speed - 2.5))


def test_level_lines_of_a_cone_close() -> None:
    x, y = np.meshgrid(np.linspace(-1.0, 1.0, 41), np.linspace(-1.0, 1.0, 41))
    places = np.column_stack([x.ravel(), y.ravel()])
    (line,) = level_lines(places, np.hypot(*places.T), 0.7)
    assert line[0] == pytest.approx(line[-1])
    assert np.hypot(*line.T) == pytest.approx(0.7, abs=2e-3)
