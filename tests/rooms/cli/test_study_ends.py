"""What studies say before they begin, while they go on without a terminal, and at the end."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from rich.console import Console

from lapheat.case.faults import CaseError
from lapheat.case.file import read_case
from lapheat.cli.study.frame import Study, command_line, page
from lapheat.cli.study.risk import _assumed, _chance, _not_varied, next_of
from lapheat.cli.study.risk import told as told_of_risk
from lapheat.cli.study.sequences import next_of as next_of_orders
from lapheat.cli.terminal import sweep
from lapheat.cli.terminal.exits import Left
from lapheat.study import runs
from lapheat.study.chance.bench import inputs_of
from lapheat.study.chance.samples import Benched, run_sample
from lapheat.study.risk.risk import Risk, assess, plan_of
from lapheat.study.runs import effort
from lapheat.study.runs.executors import Serial
from lapheat.study.sequences.orders import Order, Sequences, ranked
from lapheat.study.window.tried import told_chance
from study.benches import MADE_UP, made_up
from study.stand_in import made_row, now, stood_in
from support.commands import Call

ROOT = Path(__file__).parents[3]
TINY = ROOT / "tests" / "study" / "tiny.toml"


def study(*changes: str) -> Study:
    return Study("risk", Path("my stub.toml"), changes, None, None, None, None, False, Left())


def test_a_command_names_the_same_case_with_what_was_set() -> None:
    told = command_line(study("arc.aim=1 mm"), "run", (("arc.current", "71 A"),), "--detail fine")
    assert told == (
        "lapheat run 'my stub.toml' --set 'arc.aim=1 mm' --set 'arc.current=71 A' --detail fine"
    )


def test_how_much_and_how_long_is_said_before() -> None:
    """The number of runs is a limit; the time is none, for it is that of another machine."""
    told = sweep.beforehand(MADE_UP.case(), "coarse", (120, 0), 2)
    assert re.fullmatch(
        r"At most 120 runs at coarse detail, 2 at once\. On a quiet, fast machine that takes "
        r"some \d+ (s|min)\. A slow or busy one may take many times as long\.",
        told,
    )
    told = sweep.beforehand(MADE_UP.case(), "coarse", (0, 4), 2)
    assert told.startswith(f"At most 4 runs at {MADE_UP.case().detail} detail, 2 at once. On a ")
    told = sweep.beforehand(MADE_UP.case(), "coarse", (10**6, 0), 2, (120, 0))
    pattern = (
        r"At most 1000000 runs at coarse detail, 120 at least, 2 at once\. On a quiet, fast "
        r"machine that takes \d.* to \d.* h\. A slow"
    )
    assert re.match(pattern, told)
    assert sweep.in_words(4.0) == "10 s"
    assert sweep.in_words(200.0) == "3 min"
    assert sweep.in_words(9000.0) == "2.5 h"


def test_too_long_a_study_is_refused_before_it_starts() -> None:
    case = MADE_UP.case()
    effort.refuse_long(case, "coarse", (120, 0), 2, 24.0)
    with pytest.raises(CaseError, match=r"some 120 runs, 2 at once, in some [\d.e-]+ hours"):
        effort.refuse_long(case, "coarse", (120, 0), 2, 0.0)
    with pytest.raises(CaseError, match="a higher --hours"):
        effort.refuse_long(case, "coarse", (10**9, 0), 2, 24.0)


@pytest.mark.parametrize(
    "words",
    [
        ("risk",),
        ("window", "--vary", "arc.current=50 A:60 A:2", "--vary", "travel.speed=2 mm/s:3 mm/s:2"),
        ("find",),
        ("explain",),
        ("sequences",),
    ],
)
def test_every_study_has_a_limit(
    call: Call, folder: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.setattr(runs, "executor_of", lambda *_: Serial())
    status, out, err = call(words[0], "stub.toml", *words[1:], "--hours", "0")
    assert (status, out) == (2, "")
    assert "allowed: at most 0 hours" in err
    assert [path.name for path in folder.iterdir()] == ["stub.toml"]


def risk(margin: float, slack: float) -> Risk:
    def row(sample: object) -> object:
        return made_up(sample, margin, slack)  # type: ignore[arg-type]

    return now(stood_in(assess(plan_of(MADE_UP, "coarse", 128)), {run_sample: row}))  # type: ignore[dict-item]


def test_a_poor_risk_ends_with_what_to_do_next() -> None:
    first, second, fails, driver = next_of(risk(10.0, 80.0), study())
    assert first.startswith("Next: lapheat find 'my stub.toml' looks for settings that survive")
    assert second.strip().startswith("lapheat explain 'my stub.toml' says which key mends")
    assert fails.startswith("The base melts more often than the filler fails")
    assert driver.startswith("What drives the base most is current, ")
    assert driver.endswith("a meter on the torch lead narrows scatter.current.")


def test_where_both_fail_often_no_more_heat_is_advised() -> None:
    text = " ".join(next_of(risk(-20.0, -20.0), study()))
    assert "no more and no less heat alone mends that" in text
    assert "arc.current warms it" not in text


@pytest.mark.parametrize(
    ("margin", "slack", "fails"), [(10.0, 80.0, "base"), (80.0, 10.0, "filler")]
)
def test_the_driver_told_is_that_of_what_fails(margin: float, slack: float, fails: str) -> None:
    found = risk(margin, slack)
    shares = {d.input.name: d.base if fails == "base" else d.filler for d in found.drivers}
    name, most = max(((n, s[1]) for n, s in shares.items() if s), key=lambda pair: pair[1])
    told = f"What drives the {fails} most is {name}, {100 * most:.0f} %: "
    assert next_of(found, study())[-1].startswith(told)


@pytest.mark.parametrize(
    ("smooth", "word"), [(True, "confidence, integrated; 33"), (False, "confidence; 33")]
)
def test_a_chance_says_whether_it_is_integrated_or_counted(smooth: bool, word: str) -> None:
    assert f"{word} of 64 runs)" in told_chance(Benched(0.56, 0.54, 0.59, 64, 33, smooth))


def test_a_risk_says_what_it_assumes_as_the_case_would() -> None:
    """Not a factor of 1 on what the arc's length gives, and inches where the case has them."""
    case = read_case(ROOT / "cases/flue-stub-joint.toml")
    told = {each.name: _assumed(each, case) for each in inputs_of(case)}
    assert told["efficiency"] == "0.75, 95 % within 6 %"
    assert told["spot"] == "0.062 in, 95 % within 25 %"
    assert told["aim"] == "0 in, 95 % within 0.02 in"
    assert told["speed"] == "2 mm/s, 95 % within 15 %"
    assert "volts at a given arc length" in _not_varied(case)
    measured = read_case(ROOT / "cases/flue-stub-joint.toml", ["arc.voltage=10 V"])
    assert "volts at" not in _not_varied(measured)


def test_a_risk_says_what_it_does_not_vary() -> None:
    screen = io.StringIO()
    Console(file=screen, width=200).print(told_of_risk(risk(300.0, 300.0)))
    text = screen.getvalue()
    assert "Not varied: the torch's angle, volts, where segments begin and end, " in text
    assert ("dwell, " in text) == (MADE_UP.case().travel.dwell > 0.0)
    assert "chill" not in text


def test_a_good_risk_ends_with_the_run() -> None:
    assert next_of(risk(300.0, 300.0), study()) == ["Next: lapheat run 'my stub.toml'"]


@pytest.mark.parametrize(
    ("slack", "told"),
    [(20.0, "lapheat risk 'my stub.toml' --set travel.order=opposite"), (-20.0, "lapheat find ")],
)
def test_orders_end_with_what_to_do_next(slack: float, told: str) -> None:
    row = {**made_row(20.0, slack, 100.0), "spread_K": 5.0, "hottest_start_C": 100.0}
    row |= {"tube_peak_C": 1200.0}
    found = Sequences(MADE_UP.case(), ranked([Order("opposite", row)], "at equal pause"), None)
    assert told in next_of_orders(found, study())[0]


@pytest.mark.parametrize(
    ("words", "most"),
    [
        (("sequences",), "At most 4 runs at coarse detail, "),
        (("find", "--sure", "80%"), "At most 878 runs at coarse detail, 96 at least, "),
        (("explain",), "At most 151 runs at coarse detail, 17 at least, "),
        (("calibrate", "trials.csv"), "At most 86 runs at coarse detail, 4 at least, "),
    ],
)
def test_every_study_says_how_much_it_takes(
    call: Call,
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...],
    most: str,
) -> None:
    """On a pipe as well, and before the first run."""

    def stopped(*_: object) -> None:
        raise KeyboardInterrupt

    (folder / "trials.csv").write_text("current_A,melted\n60,no\n80,yes\n", "utf-8")
    monkeypatch.setattr(runs, "executor_of", lambda *_: Serial())
    monkeypatch.setattr(runs, "drive", stopped)
    name, *more = words
    status, _, err = call(name, "stub.toml", *more, "--detail", "coarse")
    assert status == 130
    said = err.splitlines()[0]
    assert said.startswith(most)
    assert re.search(
        r"runs at coarse detail.*1 at once\. On a quiet, .* \d+ (s|min|h)\. .* as long\.$", said
    )


def test_resuming_what_was_never_begun_is_said(
    call: Call, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(runs, "executor_of", lambda *_: Serial())
    monkeypatch.setattr(runs, "drive", stopped)
    monkeypatch.setattr("lapheat.api.simulate", stopped)
    for words in (("risk",), ("run",)):
        err = call(*words, "stub.toml", "--resume")[2]
        assert re.match(r"nothing is kept in \S+: the (run|study) begins anew\n", err), err
        assert "nothing is kept" not in call(*words, "stub.toml")[2]
    assert [path.name for path in folder.iterdir()] == ["stub.toml"]


@pytest.mark.parametrize("rows", [0, 1])
def test_finished_runs_are_kept_where_there_are_any(tmp_path: Path, rows: int) -> None:
    left = Left()

    def cut_short() -> None:
        with sweep.kept_rows(tmp_path / "a.risk", False, left) as store:
            if rows:
                store.add("key", {"failed": None})
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        cut_short()
    kept = tmp_path / "a.risk.rows.jsonl"
    assert kept.exists() == bool(rows)
    told = f"finished runs are kept in {kept}; --resume goes on from them"
    assert left.words == (told if rows else "nothing was written")


def test_results_of_an_earlier_case_are_named_beside_the_new_one(tmp_path: Path) -> None:
    files = [tmp_path / "case.toml"]
    for name in ("case.toml", "find.json", "case.out", "case.risk"):
        (tmp_path / name).touch()
    screen = io.StringIO()
    Console(file=screen, width=200).print(page("Stub", [], files))
    assert "Of the case.toml that was there before: case.out, case.risk." in screen.getvalue()
    for name in ("case.out", "case.risk"):
        (tmp_path / name).unlink()
    screen = io.StringIO()
    Console(file=screen, width=200).print(page("Stub", [], files))
    assert "there before" not in screen.getvalue()


def test_why_a_chance_is_counted_is_told() -> None:
    found = risk(10.0, 80.0)
    assert found.base is not None
    counted = replace(found, base=replace(found.base, smooth=replace(found.fails, used=False)))
    few, failed = counted.rows[:20], ({**counted.rows[0], "failed": "no"}, *counted.rows[1:])
    for rows, why in (
        (counted.rows, "the fit near that limit is too poor"),
        (few, "there are too few for a fit"),
        (failed, "some samples could not be computed"),
    ):
        assert _chance(replace(counted, rows=rows), counted.base, "").endswith(f"counted: {why}")
    assert "integrated" in _chance(found, found.base, "")


def test_shares_that_are_in_doubt_leave_an_integrated_chance_standing() -> None:
    found = risk(10.0, 80.0)
    assert found.base is not None
    assert found.base.shares is not None
    poor = replace(found.base, shares=replace(found.base.shares, q2=0.8))
    screen = io.StringIO()
    Console(file=screen, width=200).print(told_of_risk(replace(found, base=poor)))
    assert "80 % explained where 90 % are wanted: do not trust these shares" in screen.getvalue()
    assert "The chance above stands: its interval holds that error." in screen.getvalue()
    counted = replace(poor, smooth=replace(poor.smooth, used=False))
    screen = io.StringIO()
    Console(file=screen, width=200).print(told_of_risk(replace(found, base=counted)))
    assert "The chance above stands" not in screen.getvalue()


def test_bad_options_of_find_are_told_with_the_faults_of_its_case(call: Call) -> None:
    options = ("--sure", "100%", "--free", "arc.foo", "--fix", "arc.bar", "--workers", "1")
    status, _, told = call("find", str(TINY), *options, "--set", "bench.speed_range=[]")
    assert status == 2
    for given in ("--sure", "arc.foo", "arc.bar", "bench.speed_range"):
        assert given in told
    status, _, told = call("find", str(TINY), *options, "--detail", "rough")
    assert status == 2
    assert "rough" in told
    assert "arc.foo" in told
