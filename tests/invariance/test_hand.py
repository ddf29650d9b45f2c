"""The brazer's hand in whole runs: waiting for flow, and the pedal."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

import lapheat.march.march
import lapheat.march.steps
from invariance.small import SMALL, text_of
from lapheat import read_case, simulate
from lapheat.api import Result
from lapheat.case.file import read_case_text
from lapheat.constants import ZERO_CELSIUS
from lapheat.outcomes.current import pressed
from lapheat.report.figures import current
from lapheat.report.sentences import hand_by_segment
from lapheat.report.terminal import report_of

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "cases" / "flue-stub.toml"
# the demo's joint with a hand that keeps to the clock; each test adds what it is about
CLOCK = (
    *("arc.control=steady", "travel.start=timed", "travel.dwell=4.5 s"),
    *("arc.current=66 A", "arc.hold=1100 degC"),
)
PEDAL = ("arc.control=pedal",)


def run(*changes: str, case: str = "flue-stub", detail: str = "coarse") -> Result:
    first = CLOCK if case == "flue-stub" else ()
    return simulate(read_case(ROOT / "cases" / f"{case}.toml", (*first, *changes), detail),
                    threads=1)  # fmt: skip


def told(result: Result) -> str:
    text = io.StringIO()
    Console(file=text, width=300).print(report_of(result.history, result.outcomes))
    return text.getvalue()


def closes(result: Result) -> None:
    """The ledger closes, and volts x amps x efficiency is what entered."""
    heat = result.outcomes.heat
    assert abs(heat.imbalance) < 1e-9
    entered = result.case.arc.efficiency * heat.electrical_J
    assert heat.arc_J + heat.filler_J == pytest.approx(entered, rel=1e-9)


# --- start on flow ---

THICK = ("flange.thickness=10 mm", "travel.coverage=0.1", "arc.current=78 A",
         "limits.base_margin=30 K")  # fmt: skip


def test_a_cold_thick_flange_is_wet_only_by_waiting_for_flow() -> None:
    timed = run(*THICK, "travel.dwell=0.5 s").outcomes
    flow = run(*THICK, "travel.start=on-flow")
    (early,), (late,) = timed.segments, flow.outcomes.segments
    assert early.flange_side_wet < 0.8
    assert (early.wait_s, early.flowed_at_start) == (pytest.approx(0.5), False)
    assert not timed.verdict.filler_flows
    assert min(late.tube_side_wet, late.flange_side_wet) > 0.95
    assert 1.5 < late.wait_s < 3.5
    assert late.flowed_at_start is True
    assert flow.outcomes.verdict.base_stays_solid
    assert flow.outcomes.verdict.filler_flows
    assert "cold start" not in flow.outcomes.verdict.summary
    assert f"by segment as run: 1: {late.wait_s:.1f} s" in " ".join(hand_by_segment(flow.history))
    assert f" {late.wait_s:.1f} s for flow at the starts" in told(flow)
    closes(flow)


def test_no_flow_by_the_limit_is_a_finding() -> None:
    result = run(*THICK, "travel.start=on-flow", "travel.dwell_limit=0.25 s", "travel.taper=1 s")
    (segment,) = result.outcomes.segments
    assert (segment.wait_s, segment.flowed_at_start) == (pytest.approx(0.25), False)
    sentence = (
        "cold start: the arc set off without flow on both sides at the start of segment 1, after "
        "0.25 s (travel.dwell_limit)"
    )
    assert sentence in result.outcomes.verdict.summary
    assert sentence[1:] in told(result)
    closes(result)


def test_a_pedal_that_gives_way_before_flow_is_told_to_hold_hotter() -> None:
    waits = (*THICK, *PEDAL, "travel.start=on-flow")
    low, high = run(*waits, "travel.dwell_limit=5 s"), run(*waits, "arc.hold=1200 degC")
    assert low.outcomes.segments[0].flowed_at_start is False
    assert "the pedal gave way at arc.hold" in low.outcomes.verdict.summary
    assert high.outcomes.segments[0].flowed_at_start is True
    assert "cold start" not in high.outcomes.verdict.summary


def test_a_joint_that_a_pedal_keeps_cold_names_the_hold() -> None:
    held = run(*PEDAL, "travel.coverage=0.2").outcomes.verdict
    assert not held.filler_flows
    assert "the pedal held the base at arc.hold, 1100 degC: a higher hold" in held.summary
    topped = run(*PEDAL, "travel.coverage=0.2", "arc.hold=1300 degC", "arc.current=45 A")
    assert "the pedal was at the top of arc.current_range" in topped.outcomes.verdict.summary
    low = run(
        *PEDAL, "travel.coverage=0.2", "arc.hold=700 degC", 'arc.current_range=["40 A", "90 A"]'
    )
    assert "at the bottom of arc.current_range" in low.outcomes.verdict.summary


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        (("arc.current=40 A", "travel.dwell_limit=6 s"), "at the top of arc.current_range"),
        (("arc.hold=1200 degC", "travel.dwell_limit=0.25 s"), "the base was not yet at arc.hold"),
    ],
)
def test_a_pedal_that_did_not_give_way_is_not_blamed(changes: tuple[str, ...], told: str) -> None:
    result = run(*THICK, *PEDAL, "travel.start=on-flow", *changes)
    assert told in result.outcomes.verdict.summary
    assert "gave way" not in result.outcomes.verdict.summary


def test_a_warm_start_waits_less() -> None:
    result = run("travel.start=on-flow", "travel.pause=4 s", "travel.coverage=0.3",
                 "travel.order=in-turn", "travel.resume_below=900 degC")  # fmt: skip
    waits = [segment.wait_s for segment in result.outcomes.segments]
    starts = [segment.start_C for segment in result.outcomes.segments]
    assert starts == sorted(starts)
    assert waits == sorted(waits, reverse=True)
    assert waits[0] > waits[-1] + 0.5
    assert all(segment.flowed_at_start for segment in result.outcomes.segments)


# --- the pedal ---


@pytest.fixture(scope="module")
def demo() -> Result:
    """Demo with a pedal that holds what makes its peak that of the steady demo."""
    return run(*PEDAL, "arc.hold=1300 degC")


@pytest.mark.parametrize("joint", [(), ("tube.wall=0.049 in", "flange.thickness=3/8 in")])
def test_the_usual_hold_works_beside_a_thick_flange(joint: tuple[str, ...]) -> None:
    text = DEMO.read_text("utf-8").replace('hold = "1290 degC"', "")
    case = read_case_text(text, "demo.toml", joint, "coarse")
    assert "arc.hold" not in case.written
    verdict = simulate(case, threads=1).outcomes.verdict
    assert verdict.base_stays_solid
    assert verdict.filler_flows


def test_a_pedal_halves_the_spread_of_peaks_and_holds_the_same(demo: Result) -> None:
    steady = [segment.tube_peak_C for segment in run("arc.current=68 A").outcomes.segments]
    pedal = [segment.tube_peak_C for segment in demo.outcomes.segments]
    assert len(steady) == len(pedal) == 10
    assert max(pedal) == pytest.approx(max(steady), abs=10.0)
    assert max(pedal) - min(pedal) < 0.5 * (max(steady) - min(steady))
    assert demo.outcomes.verdict.base_stays_solid
    assert demo.outcomes.verdict.filler_flows
    closes(demo)


def test_the_pedal_falls_as_the_joint_warms(demo: Result) -> None:
    means = list(pressed(demo.history).means().values())
    assert means[0] > means[4] > means[6]
    assert all(low > 0.0 for low in means)
    current = demo.outcomes.current
    assert 0.3 * 66.0 < current.least_A < current.mean_A < current.most_A < 1.3 * 66.0


def test_no_hunting_while_the_arc_travels(demo: Result) -> None:
    """Over the middle of a segment, where nothing changes, current and heat ripple by the mesh."""
    steps, trace = pressed(demo.history), demo.history.trace
    for run_ in demo.history.segments:
        middle = run_.start + 7.0, run_.start + 9.5
        mine = (trace.time[steps.step] > middle[0]) & (trace.time[steps.step] < middle[1])
        time, amps = trace.time[steps.step][mine], steps.current[mine]
        rest = amps - np.polyval(np.polyfit(time, amps, 1), time)
        assert np.abs(rest).max() < 0.03 * amps.mean()
        hot = np.fmax(trace.tube, trace.flange)[steps.step][mine]
        assert hot.mean() == pytest.approx(1300.0 + ZERO_CELSIUS, abs=15.0)
        assert np.ptp(hot) < 50.0


def test_report_and_figure_show_the_current(demo: Result) -> None:
    text = told(demo)
    outcome = demo.outcomes.current
    assert f"{outcome.least_A:.0f} to {outcome.most_A:.0f} A" in text
    trace = demo.history.trace
    hot = np.where(trace.current > 0.0, np.fmax(trace.tube, trace.flange), 0.0)
    over, when = hot.max() - 1300.0 - ZERO_CELSIUS, trace.time[hot.argmax()]
    assert over > 15.0
    assert f"to hold 1300 degC, which the base passed by {over:.0f} K" in text
    struck = max(run.start for run in demo.history.segments if run.start < when)
    assert (
        f"{when - struck:.1f} s after the strike of segment {trace.segment[hot.argmax()]}" in text
    )
    assert "on its lower limit" not in text
    first, amps = next(iter(pressed(demo.history).means().items()))
    assert f"by segment as run: {first}: {amps:.0f} A" in " ".join(hand_by_segment(demo.history))
    upper, lower = current(demo.history).axes
    assert upper.get_ylabel() == "current (A)"
    assert f"{outcome.mean_A:.0f} A" in upper.get_title(loc="left")
    assert "above the hold of 1300" in lower.get_title(loc="left")
    drawn = upper.lines[0].get_ydata()
    assert np.nanmax(drawn) == pytest.approx(outcome.most_A)


STANDING = ("travel.coverage=0.01", "travel.dwell=12 s", "arc.hold=900 degC", *PEDAL)
WIDE = 'arc.current_range=["5 A", "120 A"]'


@pytest.mark.parametrize(
    ("lag", "look", "detail"),
    [(0.05, 0.1, "coarse"), (0.3, 0.1, "coarse"), (0.3, 0.03, "coarse"), (1.0, 0.1, "coarse"),
     (3.0, 0.1, "coarse"), (0.3, 0.1, "standard")],
)  # fmt: skip
def test_a_standing_arc_overshoots_once_and_settles(
    lag: float, look: float, detail: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Struck at four times what holds: the lag lets it overshoot, but never swing."""
    monkeypatch.setattr(lapheat.march.steps, "LOOK", look)
    monkeypatch.setattr(lapheat.march.march, "COOL_AT_MOST", 1.0)
    monkeypatch.setattr(lapheat.march.march, "COOL_AT_LEAST", 1.0)
    dwell = "travel.dwell=4 s" if detail == "standard" else "travel.dwell=20 s"
    result = run(*STANDING, WIDE, dwell, f"arc.pedal_lag={lag} s", case="test-bead", detail=detail)
    trace, arc = result.history.trace, result.case.arc
    stood = trace.time <= result.case.travel.dwell + 1e-9
    off = trace.tube[stood] - arc.hold
    top = int(off.argmax())
    assert 0.0 < off[top] < 0.35 * (arc.hold - 293.15)
    assert (np.diff(off[: top + 1]) > 0.0).all()
    assert (np.diff(off[top:]) < 0.01).all()  # falls towards the hold and does not come back
    assert off[-1] > -1.0
    if lag <= 1.0 and detail == "coarse":
        assert abs(off[-1]) < 10.0
    closes(result)


def test_the_current_follows_with_the_lag() -> None:
    """A hold far out of reach: the current closes in on the upper limit by the lag alone."""
    lag, top = 0.4, 60.0
    result = run(*PEDAL, "arc.hold=3000 degC", f'arc.current_range=["10 A", "{top} A"]',
                 f"arc.pedal_lag={lag} s", "travel.dwell=4 s", "travel.coverage=0.01",
                 case="test-bead")  # fmt: skip
    steps = pressed(result.history)
    end = np.cumsum(steps.seconds)
    start, first = end - steps.seconds, result.case.arc.current
    fall = lag / steps.seconds * (np.exp(-start / lag) - np.exp(-end / lag))
    np.testing.assert_allclose(steps.current, top + (first - top) * fall, rtol=1e-9)
    sat = result.outcomes.current
    assert sat.on_high_limit_s == pytest.approx(float(end[-1]) - lag * np.log(
        (top - first) / (0.01 * (top - 10.0))), abs=0.2)  # fmt: skip
    assert sat.on_low_limit_s == 0.0
    text = told(result)
    assert f"on its upper limit of 60 A for {sat.on_high_limit_s:.1f} s (segment 1)" in text
    closes(result)


def test_a_pedal_with_the_conventional_voltage_and_a_taper_closes() -> None:
    tables = {name: dict(table) for name, table in SMALL.items()}
    del tables["arc"]["voltage"]
    text = text_of(tables, travel__taper="1 s", travel__coverage=0.5, arc__control="pedal",
                   arc__hold="1250 degC")  # fmt: skip
    result = simulate(read_case_text(text, "small.toml"), threads=1)
    closes(result)
    trace, run_ = result.history.trace, result.history.segments[0]
    fading = (trace.time > run_.end - 1.0 + 1e-9) & (trace.time < run_.end + 1e-9)
    before = pressed(result.history)
    last = before.current[before.segment == run_.number][-1]
    amps = trace.current[fading]
    assert last > amps[0] > amps[-1] > 0.0
    assert amps.mean() < 0.7 * last
    assert result.outcomes.current.least_A > amps[-1]  # tapers are left out
