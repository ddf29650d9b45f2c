"""The line that shows progress: true at every moment, and whole on a narrow terminal."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from rich.console import Console
from rich.progress import Progress

from invariance.small import SMALL, text_of
from lapheat.case.file import read_case_text
from lapheat.cli.study.find import told
from lapheat.cli.terminal import sweep
from lapheat.cli.terminal.line import clock, line_on
from lapheat.cli.terminal.progress import Meter
from lapheat.march.recorder import Progress as Where
from lapheat.study.find.model import Think
from lapheat.study.find.plan import Effort, plan_of
from lapheat.study.find.seek import seek
from lapheat.study.runs import Row, RowFile, Serial, Source, drive, run_trial
from lapheat.study.runs.rounds import Planner, Round
from study.stand_in import stood_in
from support.formula_joint import TEXT, formulas


@dataclass(frozen=True)
class Task:
    """A run with a name."""

    name: str

    def key(self) -> str:
        return self.name


class Fit(Task):
    """A task that is no run."""


def done(_: Task) -> Row:
    return {"failed": None}


def tasks(*numbers: int) -> list[Task]:
    return [Task(f"run {number}") for number in range(*numbers)]


def planner() -> Planner[str]:
    """Open: 96 runs, two fits, then 1070 runs of which six were made before, then a cheap fit."""
    yield Round("settings and benches", done, tasks(96))
    yield Round("what to try next", done, [Fit("fit 1"), Fit("fit 2")])
    yield Round("nothing", done, [])
    yield Round("the quickest on fresh benches", done, tasks(90, 1160), later=7)
    yield Round("chances", done, tasks(1), kept=False)
    return "found"


def closed() -> Planner[None]:
    yield Round("orders", done, tasks(4))


@pytest.fixture
def now(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """A clock to set by hand."""
    at = [0.0]
    monkeypatch.setattr(sweep, "monotonic", lambda: at[0])
    return at


def shown(bar: Progress, width: int) -> str:
    out = io.StringIO()
    Console(file=out, width=width).print(bar.get_renderable())
    return out.getvalue().rstrip("\n")


def lines_of(
    planner: Planner[object], most: int, now: list[float], width: int, kept: int = 0
) -> Iterator[str]:
    """What stands on the terminal after every word of progress, 3 s apart; some runs are kept."""
    bar = line_on(Console(file=io.StringIO(), width=width, force_terminal=True), False)
    store, seen = RowFile(), []
    for task in tasks(kept):
        store.add(task.key(), {"failed": None})
    runs = sweep.Runs(store, most, Fit, bar)

    def count(doing: str, at: int, of: int) -> None:
        now[0] += 3.0
        runs(doing, at, of)
        seen.append(shown(bar, width))

    yield shown(bar, width)
    drive(runs.watch(planner), Serial(), store, count)
    yield from seen
    runs.say("drawing")
    yield shown(bar, width)


@pytest.mark.parametrize("width", [80, 110])
def test_a_study_tells_what_is_left_of_its_stage(now: list[float], width: int) -> None:
    seen = list(lines_of(planner(), 2000, now, width))
    whole = [" ".join(line.replace("━", " ").replace("╸", " ").split()) for line in seen]
    whole = [line.replace(" ╺", "") for line in whole]
    assert whole[0] == "starting; the first run of all also compiles, a minute or two"
    assert whole[1] == "settings and benches 0/96 runs in this stage"
    assert whole[2] == "settings and benches 1/96 runs, 04:45 left in this stage"
    assert whole[97] == "settings and benches 96/96 runs in this stage"
    assert "what to try next 96 runs so far" in whole
    assert "the quickest on fresh benches 0/1064 runs in this stage; 96 so far" in whole
    assert whole[-2] == "chances 1160 runs so far"
    assert whole[-1] == "drawing 1160 runs so far"
    for line in seen:
        assert "\n" not in line
        assert "…" not in line
        assert len(line.rstrip()) <= width


def test_where_no_stage_can_follow_the_time_left_is_that_of_all(now: list[float]) -> None:
    seen = list(lines_of(closed(), 4, now, 80))
    assert seen[2].rstrip().endswith(" 1/4 runs, 00:09 left")


def test_a_narrow_terminal_shows_the_numbers_rather_than_the_bar(now: list[float]) -> None:
    seen = list(lines_of(planner(), 2000, now, 56))
    assert seen[2].rstrip() == "settings and benches 1/96 runs, 04:45 left in this stage"
    assert any(line.startswith("the quickest on fresh benches ━━━━━━") for line in seen)
    assert all(line.rstrip().endswith(("runs", "stage", "so far")) for line in seen[1:])


def test_kept_rows_take_no_time(now: list[float]) -> None:
    seen = [line.rstrip() for line in lines_of(planner(), 2000, now, 80, kept=90)]
    assert seen[1].endswith(" 90/96 runs in this stage")
    assert seen[2].endswith(" 91/96 runs, 00:15 left in this stage")


def test_a_pipe_gets_a_line_a_minute(now: list[float], capfd: pytest.CaptureFixture[str]) -> None:
    store = RowFile()
    runs = sweep.Runs(store, 2000, Fit)

    def count(doing: str, at: int, of: int) -> None:
        now[0] += 6.0
        runs(doing, at, of)

    drive(runs.watch(planner()), Serial(), store, count)
    lines = capfd.readouterr().err.splitlines()
    assert lines[0] == "settings and benches: 9 of 96 runs, about 9 min left in this stage"
    later = (
        r"the quickest on fresh benches: (\d+) of 1064 runs \((\d+) so far\), about \d+ min left "
    )
    stage, so_far = map(int, re.findall(later + "in this stage", "\n".join(lines))[9])
    assert so_far == stage + 96
    assert 100 < len(lines) < 125


def test_find_ends_at_the_count_it_shows() -> None:
    """Fits are no runs, and a run that is asked for again is one."""
    wild = TEXT + 'scatter = { hold = "250 K" }\n'
    effort = Effort(first=16, rounds=1, more=0, looks=4, tries=1, candidates=32)
    plan = replace(plan_of(Source(wild, "stub"), 0.9), effort=effort)
    store = RowFile()
    bar = line_on(Console(file=io.StringIO(), width=80, force_terminal=True), False)
    runs = sweep.Runs(store, 2000, Think, bar)
    found = drive(runs.watch(stood_in(seek(plan), {run_trial: formulas})), Serial(), store, runs)
    runs.say("drawing")
    assert shown(bar, 80).rstrip().endswith(f"{sum(found.runs)} runs so far")
    fits = sum("thought" in store.rows[key] for key in store.used)
    assert len(store.used) == sum(found.runs) + fits
    screen = io.StringIO()
    Console(file=screen, width=200).print(told(found))
    assert f"From {found.runs[0]} runs at coarse detail.\n" in screen.getvalue()
    Console(file=screen, width=200).print(told(found, (Path("out/rows.jsonl"),)))
    assert "rows.jsonl has a line for each, and one for each fit between." in screen.getvalue()


def test_a_run_shows_no_time_left_where_none_is_known() -> None:
    case = read_case_text(text_of(SMALL), "small.toml")
    clocked = [0.0]
    console = Console(file=io.StringIO(), width=80, force_terminal=True)
    bar = line_on(console, False)
    bar.get_time = lambda: clocked[0]
    meter = Meter(bar, case, 100.0)
    for task in bar.tasks:
        task._get_time = lambda: clocked[0]
    meter.start()

    def at(seconds: float, finished: int) -> str:
        clocked[0], meter.next = seconds, 0.0
        meter(Where(8, finished, 8, seconds, 1000.0, 900.0))
        return shown(bar, 80).rstrip()

    assert not at(10.0, 7).endswith("left")  # one step tells no pace
    for seconds in range(15, 98, 5):
        assert at(seconds, 7).endswith(f" {clock(100.0 - seconds)} left")
    for seconds in (100.0, 130.0):
        assert at(seconds, 8).startswith(f"cooling, {seconds:.1f} s, ")
        assert "left" not in at(seconds, 8)
    meter.say("drawing")
    assert "left" not in shown(bar, 80)
    meter.start("fine mesh, ")  # another mesh begins anew
    at(140.0, 8)
    meter.total = 1000.0
    meter.start("fine mesh, ")
    at(150.0, 1)
    at(160.0, 1)
    assert re.search(r" \d\d:\d\d left$", at(170.0, 1))
    (task,) = bar.tasks
    assert task.completed <= (task.total or 0.0)


@pytest.mark.parametrize(
    ("seconds", "text"), [(0.4, ""), (31.2, "00:31"), (3723.0, "1:02:03"), (600.0, "10:00")]
)
def test_a_time_left_is_short(seconds: float, text: str) -> None:
    assert clock(seconds) == text
