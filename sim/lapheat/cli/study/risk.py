"""`lapheat risk`: samples of a bench, files, and what to say of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ...case.case import Case
from ...case.faults import printable
from ...case.file.every_key import Setting, settings_of
from ...case.units import LENGTH
from ...study.chance.bench import Input
from ...study.chance.samples import Chance
from ...study.chance.surrogate import RUNS_AN_INPUT
from ...study.risk.files import OURS, write_risk
from ...study.risk.risk import Event, Risk, assess, most_runs, plan_of
from ...study.runs.standing import FAILS
from ..terminal.screen import show
from .frame import Study, carried_out, command_line, page

__all__ = ["carry_out"]

GOOD = 0.9  # chance of success from which nothing more is advised
BEAD, HAND = "a test bead (lapheat calibrate)", "a steadier hand, or a guide for the torch,"
NARROWS = {
    **dict.fromkeys(("spot", "efficiency", "emissivity", "conductivity"), BEAD),
    **dict.fromkeys(("aim", "work_angle", "speed", "arc_length", "hold", "pedal_lag"), HAND),
    "current": "a meter on the torch lead",
    "wall": "a caliper on your own tube (tube.wall)",
    "clearance": "a caliper on tube and bore (lap.clearance)",
}
"""What narrows an input's scatter; common practice, no source."""


def carry_out(study: Study, samples: int, seed: int, within: float) -> None:
    """Assess a case, write the results and show them.

    Parameters
    ----------
    study : what every such command is asked
    samples, seed, within : as on the command line

    Raises
    ------
    CaseError
        Something asked for is refused.
    ResultError
        The results could not be written.
    """
    plan = plan_of(study.source, study.mesh, samples, seed, within)
    folder = study.folder(OURS)
    risk, files = carried_out(study, folder, assess(plan), write_risk, most_runs(plan))
    show(told(risk, files, study))


def told(risk: Risk, files: Sequence[Path] = (), study: Study | None = None) -> RenderableType:
    """Lay out chances, drivers, what was assumed, what comes next, cautions and files."""
    plan = risk.plan
    head = Table.grid(padding=(0, 3, 0, 0))
    head.add_column(style="dim")
    head.add_column(overflow="fold")
    head.add_row("success", _success(risk))
    if risk.shifted is not None:
        low, high = risk.shifted.interval
        head.add_row(
            "",
            f"{100 * (1.0 - risk.shifted.value):.1f} % of benches ({100 * (1.0 - high):.1f} to "
            f"{100 * (1.0 - low):.1f} %) with what the {plan.case.detail} mesh makes of the case, "
            "counted",
        )
    head.add_row("samples", _samples(risk))
    head.add_row("base melts", _chance(risk, risk.base, "it never melts"))
    if risk.base is not None:
        wanted = f"keeps less than {plan.case.limits.base_margin:g} K: {_interval(risk.short)}"
        head.add_row("", wanted)
    head.add_row("cold joint", _chance(risk, risk.filler, "there is no filler"))
    if risk.filler is not None:
        head.add_row("", _fails(risk))
    label = f"{plan.case.detail} mesh"
    for name, event in (("base", risk.base), ("filler", risk.filler)):
        if event is not None and event.difference is not None and event.shifted is not None:
            head.add_row(
                label,
                f"the case as it is comes out {round(event.difference):+d} K for the {name}; "
                f"with that on every sample the chance is {_interval(event.shifted)}",
            )
            label = ""
    parts: list[RenderableType] = [
        head,
        Text(),
        _drivers(risk),
        *_warnings(risk),
        Text(),
        Text("Assumed", style="bold"),
        *(Text(f"  {item.name}: {_assumed(item, plan.case)}") for item in plan.inputs),
        Text("  Each varies on its own, and stays the same through a run. [scatter] changes them."),
        Text(f"  Not varied: {_not_varied(plan.case)}."),
    ]
    if study is not None:
        parts += [Text(), *(Text(printable(line)) for line in next_of(risk, study))]
    return page(plan.case.title, parts, files)


def _assumed(item: Input, case: Case) -> str:
    """Say a value as it was written, else in the case's own units; of a factor what it gives."""
    key = f"arc.{item.name}" if item.name in case.arc.derived else item.key
    value = next(row for row in settings_of(case) if row.key == key)
    within = item.told.partition(", ")[2]
    if item.spread.way == "amount" and item.kind is LENGTH:
        within = f"95 % within {Setting(key, item.spread.size, LENGTH).shown(case.display, True)}"
    text = printable(case.written.get(key, value.shown(case.display, by_hand=True))).strip('"')
    return f"{text}, {within}"


def _not_varied(case: Case) -> str:
    """What a hand or a shop varies too, and no `[scatter]` does."""
    timed = case.travel.start == "timed" and case.travel.dwell > 0.0
    angle = case.scatter.get("work_angle")
    told = [] if angle is not None and angle.size else ["the torch's angle"]
    told += ["volts at a given arc length" if "voltage" in case.arc.derived else "volts"]
    told += ["where segments begin and end", *(["dwell"] if timed else [])]
    told += ["pauses", "air"]
    told += ["the rod's feed"] if case.fillet is not None else []
    told += ["the chill's touch"] if case.fixture.chill is not None else []
    told += ["the bench's touch"] if case.fixture.bench is not None else []
    return f"{', '.join(told[:-1])} and {told[-1]}"


def next_of(risk: Risk, study: Study) -> list[str]:
    """Say what to do next, in lines: where the chance is poor, what fails most and what narrows it.

    Parameters
    ----------
    risk : finished
    study : what was asked
    """
    good = 1.0 - risk.fails.chance
    own = good if risk.shifted is None else 1.0 - risk.shifted.value
    if min(good, own) >= GOOD:
        return [f"Next: {command_line(study, 'run')}"]
    seeks = "find" if risk.plan.case.brazed is not None else "window"  # find wants a joint
    lines = [f"Next: {command_line(study, seeks)} looks for settings that survive this scatter;"]
    lines.append(f"  {command_line(study, 'explain')} says which key mends the case as it is.")
    melts = 0.0 if risk.base is None else risk.base.smooth.chance
    cold = 0.0 if risk.filler is None else risk.filler.smooth.chance
    base = melts >= cold
    if min(melts, cold) > 1.0 - GOOD:
        lines.append("Base and filler both fail often: no more and no less heat alone mends that.")
    elif base and melts > 0.0:
        lines.append(f"The base melts more often than the filler fails, {_part(risk, 'margin_K')}.")
    elif cold > 0.0:
        side = _part(risk, "side_slack_K")
        lines.append(f"The filler fails more often than the base melts, {side}.")
    shares = [((d.base if base else d.filler) or (0.0, 0.0), d.input.name) for d in risk.drivers]
    (_, share), name = max(shares, key=lambda pair: pair[0][1], default=((0.0, 0.0), ""))
    if risk.trusted and share > 0.0:
        lines.append(
            f"What drives the {'base' if base else 'filler'} most is {name}, {100 * share:.0f} %: "
            f"{NARROWS.get(name, 'a better known one')} narrows scatter.{name}."
        )
    return lines


def _part(risk: Risk, measure: str) -> str:
    """Say on which part the samples come nearer to failing, and what gives it less or more."""
    rows = [row for row in risk.rows if row.get("failed") is None]
    pairs = [(row.get(f"tube_{measure}"), row.get(f"flange_{measure}")) for row in rows]
    known = [(float(tube), float(flange)) for tube, flange in pairs
             if tube is not None and flange is not None]  # fmt: skip
    tube = sum(a < b for a, b in known) >= 0.5 * len(known)
    heat = "arc.hold" if risk.plan.case.arc.control == "pedal" else "arc.current"
    if measure == "margin_K":
        aim = "a larger arc.aim" if tube else "a smaller arc.aim"
        way = f"{aim} or a lower {heat} takes heat off it"
    else:
        aim = "a smaller arc.aim" if tube else "a larger arc.aim"
        way = f"{aim} or a higher {heat} warms it"
    if not known:
        return f"and {heat} moves it"
    return f"mostly at the {'tube' if tube else 'flange'}: {way}"


def _samples(risk: Risk) -> str:
    plan, count = risk.plan, len(risk.rows)
    text = f"{count} at {plan.detail} detail, seed {plan.seed}"
    if count < plan.samples:
        text += f"; {plan.samples} were asked for, {count} were enough"
    return text + (f"; {risk.failed} could not be computed" if risk.failed else "")


def _success(risk: Risk) -> str:
    """Write the chance that a bench succeeds, and what that means for a series."""
    fails = risk.fails
    good = 1.0 - fails.chance
    text = (
        f"{100 * good:.1f} % of benches ({100 * (1.0 - fails.high):.1f} to "
        f"{100 * (1.0 - fails.low):.1f} %) at {risk.plan.detail} detail: the base stays below its "
        "solidus and the filler flows"
    )
    return f"{text}; of 10 such parts {10.0 * good:.1f} succeed, averaged over many shops"


def _chance(risk: Risk, event: Event | None, otherwise: str) -> str:
    if event is None:
        return otherwise
    smooth = event.smooth
    if not smooth.used:
        few = len(risk.rows) < RUNS_AN_INPUT * len(risk.plan.inputs)
        why = "there are too few for a fit" if few else "the fit near that limit is too poor"
        if risk.failed:
            why = "some samples could not be computed"
        return f"{_interval(event.chance)}, counted: {why}"
    return (
        f"{100 * smooth.chance:.1f} % ({100 * smooth.low:.1f} to {100 * smooth.high:.1f} % with "
        f"95 % confidence), integrated; {event.chance.hits} of {event.chance.count} runs"
    )


def _fails(risk: Risk) -> str:
    """Say what a cold joint is, and in how many samples it comes from which limit."""
    told = (
        "the filler fails: too little of a side is wet, a dry stretch is too long, or a limit of "
        "the filler or the lap is passed"
    )
    counts = [f"{FAILS[key].clause} in {count}" for key, count in risk.filler_fails.items()]
    return f"{told} ({', '.join(counts)})" if counts else told


def _interval(chance: Chance) -> str:
    """Write a chance with its interval: "3.1 % (1.6 to 6.0 %), 8 of 256"."""
    low, high = chance.interval
    return (
        f"{100 * chance.value:.1f} % ({100 * low:.1f} to {100 * high:.1f} % with 95 % confidence), "
        f"{chance.hits} of {chance.count}"
    )


def _drivers(risk: Risk) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("what drives it", no_wrap=True)
    parts = [(n, e) for n, e in (("base", risk.base), ("filler", risk.filler)) if e is not None]
    for name, _ in parts:
        table.add_column(f"{name}, alone", justify="right")
        table.add_column("with others", justify="right")
        table.add_column("up by its scatter", justify="right")
    for driver in risk.drivers:
        cells = []
        for name, event in parts:
            pair = driver.base if name == "base" else driver.filler
            slope = driver.base_slope if name == "base" else driver.filler_slope
            if pair is None or slope is None:
                cells += ["-"] * 3
            else:
                sure = event.shares is not None and event.shares.trusted
                moved = f"{round(slope):+d} K" if sure else "-"
                cells += [*(f"{100 * share:.0f} %" for share in pair), moved]
        table.add_row(driver.input.name, *cells)
    return table


def _warnings(risk: Risk) -> Iterator[RenderableType]:
    """Say how far the shares can be trusted."""
    for name, event in (("base", risk.base), ("filler", risk.filler)):
        if event is None or event.shares is None:
            continue
        shares = event.shares
        text = (
            f"Shares of the {name}: the fit explains {100 * shares.q2:.1f} % of runs left out, "
            f"error {shares.error:.0f} K"
        )
        if shares.trusted:
            yield Text(f"{text}.", style="dim")
        else:
            doubt = f"{text}; but {shares.doubt}: do not trust these shares, take more samples."
            yield Text(doubt, style="bold red")
            if event.smooth.used:  # what the fit misses is in the interval of the chance
                yield Text("  The chance above stands: its interval holds that error.", style="dim")
