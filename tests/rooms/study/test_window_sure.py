"""`window --sure`: chances over a map, and picks inside its contour, on a joint by formula.

There a chance can be counted at leisure.
"""

from __future__ import annotations

import io
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from lapheat.cli.study.window import told
from lapheat.study.chance.samples import on_benches
from lapheat.study.runs import Row, RowFile, Source, Trial
from lapheat.study.runs.axes import given_axes
from lapheat.study.runs.standing import near_limit
from lapheat.study.window.files import window_dict, write_window
from lapheat.study.window.map import Budget, WindowPlan
from lapheat.study.window.window import Window, most_runs, window_of
from study.stand_in import by_formula, given, made_row, now, on_bench, smooth, stood_in

TINY = Path(__file__).parents[2] / "study" / "tiny.toml"
SOURCE = Source.of(TINY, ("travel.speed=2 mm/s",))  # what `smooth` takes where it is not varied
SPEED = ("arc.current=40 A:100 A:4", "travel.speed=1 mm/s:4 mm/s:4")
FULL = (-9.0, 4.0)  # [K] what `smooth` puts on margin and slack at the case's own detail
FEW = Budget(first=64, rounds=1, looks=16, fresh=64, tries=2, pool=128, nodes=81)

Found = tuple[Window, RowFile]


def windowed(vary: tuple[str, ...] = SPEED, source: Source = SOURCE) -> Found:
    plan = WindowPlan(source, given_axes(vary, source.case()), sure=0.9, budget=FEW)
    store = RowFile()
    return now(stood_in(window_of(plan), by_formula(smooth)), store=store), store


@pytest.fixture(scope="module")
def found() -> Found:
    return windowed()


def counted(inputs: tuple[tuple[str, str], ...], benches: int = 256) -> float:
    """Chance of a setting, counted; without the fit that comes after the runs."""
    asked = next(on_benches(SOURCE, inputs, "coarse", benches, 77))
    rows = [on_bench(task, smooth) for task in asked.tasks]
    good = [
        float(row["margin_K"] or 0.0) + FULL[0] >= 0.0
        and float(row["filler_slack_K"] or 0.0) + FULL[1] >= 0.0
        for row in rows
    ]
    return float(np.mean(good))


def test_chances_over_the_map_are_those_that_are_counted(found: Found) -> None:
    window, _ = found
    assert window.chances is not None
    axes, lines = window.plan.axes, window.chances.lines
    told = np.array(window.chances.chance).reshape([len(line) for line in lines])
    assert told.shape == (9, 9)
    uncertain = 0
    for i, j in product(range(1, 9, 2), range(0, 9, 3)):
        inputs = tuple(
            (a.key, a.text(a.at(s))) for a, s in zip(axes, (lines[0][i], lines[1][j]), strict=True)
        )
        chance = counted(inputs)
        assert told[i, j] == pytest.approx(chance, abs=0.08)
        uncertain += 0.05 < chance < 0.95
    assert uncertain >= 2  # it is not only 0 and 1 that agree


def test_the_pick_is_sure_enough_and_hardly_slower_than_the_best_of_a_grid(found: Found) -> None:
    pick = found[0].pick
    assert pick.run is not None
    assert pick.confirmed is not None
    assert pick.confirmed["base_stays_solid"] is pick.confirmed["filler_flows"] is True
    assert counted(pick.run.inputs) >= 0.88
    assert "the same benches chose it of " in pick.why
    best = np.inf
    for current, speed in product(range(60, 101, 4), np.arange(2.0, 4.01, 0.1)):
        inputs = (("arc.current", f"{current} A"), ("travel.speed", f"{speed:.1f} mm/s"))
        row = smooth(Trial(SOURCE, inputs, None))
        total = float(row["total_s"] or 0.0)
        if total < best and row["base_stays_solid"] and row["filler_flows"]:
            best = total if counted(inputs, 64) >= 0.9 else best
    assert float(pick.confirmed["total_s"] or 0.0) <= best + 8.0


def test_runs_keep_to_what_was_said_before(found: Found) -> None:
    window, store = found
    coarse, finer = most_runs(window.plan, window.case.detail)
    assert len(store.rows) <= coarse + finer


def test_files_tell_the_chances(found: Found, tmp_path: Path) -> None:
    window, store = found
    told = window_dict(window)
    assert told["chances"]["sure"] == 0.9
    assert [len(axis["values"]) for axis in told["chances"]["axes"]] == [9, 9]
    assert told["pick"]["low"] <= told["pick"]["chance"] <= told["pick"]["high"]
    assert told["safest"]["chance"] >= told["pick"]["chance"]
    assert write_window(window, tmp_path / "out", store)[-2].name == "window.png"


def test_where_nothing_is_sure_enough_the_surest_is_named() -> None:
    wild = Source.of(TINY, ("scatter.current=40 %", "scatter.speed=40 %"))
    window, _ = windowed(source=wild)
    assert window.pick.run is None
    assert window.pick.why.startswith("nothing tried came to a chance of 90 %; the surest is arc.")
    assert window.safest is not None
    assert window.safest.benched is not None
    assert 0.3 < window.safest.benched.chance < 0.9
    assert window_dict(window)["pick"] is None


def test_one_key_has_a_line_and_its_own_picture(tmp_path: Path) -> None:
    window, store = windowed(SPEED[:1])
    assert window.pick.run is not None
    assert window.chances is not None
    assert len(window.chances.lines) == 1
    assert write_window(window, tmp_path / "out", store)[-2].read_bytes()[:4] == b"\x89PNG"


def test_where_an_only_key_works_is_told_by_its_ends() -> None:
    axes = given_axes(("arc.current=40 A:140 A:5",), SOURCE.case())
    window = now(stood_in(window_of(WindowPlan(SOURCE, axes)), by_formula(smooth)))

    def least(current: float) -> float:
        row = smooth(Trial(SOURCE, (("arc.current", f"{current:.4f} A"),), "coarse"))
        return min(float(row[name] or 0.0) for name in ("base_slack_K", "filler_slack_K"))

    ((low, high),) = window.stretches
    assert low < high
    assert least(low) == pytest.approx(0.0, abs=0.6)
    assert least(high) == pytest.approx(0.0, abs=0.6)
    assert least(0.5 * (low + high)) > 1.0
    screen = io.StringIO()
    Console(file=screen, width=200).print(told(window))
    assert f"arc.current from {low:.4g} to {high:.4g} A at coarse detail" in screen.getvalue()
    assert windowed()[0].stretches == ()  # two keys have lines instead


def hot_spot(trial: Trial) -> Row:
    """A joint that flows only with more current and less speed together than the map has."""
    over, fast = given(trial, "arc.current", 66.0) - 100.0, given(trial, "travel.speed", 2.0) - 3.0
    return made_row(60.0, min(0.5 * over - 12.0 * fast - 30.0, 5.0), 100.0)


def test_keys_that_open_the_window_only_together_are_named_as_a_person_sets_them() -> None:
    vary = ("arc.current=60 A:100 A:3", "travel.pause=10 s:30 s:3")
    source = Source.of(TINY, ("travel.speed=3 mm/s",))
    plan = WindowPlan(source, given_axes(vary, source.case()))
    window = now(stood_in(window_of(plan), by_formula(hot_spot)))
    assert window.pick.run is None
    assert window.safest is None
    why = window.pick.why
    assert "opens the window" in why
    assert "(100 A there)" in why or "(3 mm/s there)" in why
    assert "arc.aim" not in why  # it changes nothing


def test_what_the_mesh_may_move_over_a_limit_is_near() -> None:
    row = made_row(40.0, 4.0, 100.0)
    assert near_limit(row, "coarse") == (
        "the filler is 4 K over what is wanted, and the coarse mesh may move that by 32 K"
    )
    assert near_limit(made_row(40.0, 40.0, 100.0), "coarse") == ""
    assert near_limit(row, "fine") == ""


def test_nodes_of_the_map_are_told_in_steps_that_a_person_can_set(found: Found) -> None:
    across, up = window_dict(found[0])["chances"]["axes"]
    for axis, step in ((across, 1.0), (up, 0.1)):
        texts = [text.removesuffix(axis["unit"]) for text in axis["settings"]]
        told = np.array([float(text) for text in texts])
        assert len(told) == len(axis["values"])
        assert np.abs(told - axis["values"]).max() <= 0.5 * step + 1e-9
        assert np.abs(told / step - np.round(told / step)).max() < 1e-9
