"""`lapheat find`: search, files, and what to say of what was found."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ...case.faults import CaseError, Fault, printable
from ...joint.schedule import spelled_order
from ...outcomes.wording import Wording, listed
from ...study.find.files import OURS, write_find
from ...study.find.instead import Change
from ...study.find.model import Think
from ...study.find.plan import ORDER, FindPlan, plan_of
from ...study.find.seek import Found, most_runs, seek
from ...study.find.trying import Pick
from ...study.runs.standing import FAILS
from ..terminal.screen import show
from .frame import Study, carried_out, command_line, page, share_of

if TYPE_CHECKING:
    from ...case.case import Case

__all__ = ["carry_out"]

ESTIMATED = "Estimated ones were not put to the test: "
SLOWER = "they are slower than the one that passed."
QUICKER = (
    "a search ends at the first that passes. {} would be quicker, but promises less than is "
    "wanted, or too little is known to call it sure."
)
LESS = "they promised less than those that were."
MOST = "a search tests {} at most. With another --seed it begins anew."
HANDS = {
    "clock": "by the clock",
    "flow": "stand at each start until it flows, steady current",
    "pedal": "stand at each start until it flows, pedal holds the heat",
}


def carry_out(study: Study, sure: str, free: str, fix: str, seed: int) -> bool:
    """Find settings, write the results and show them; return whether any is sure enough.

    Parameters
    ----------
    study : what every such command is asked
    sure, free, fix, seed : as on the command line

    Raises
    ------
    CaseError
        Something asked for is refused.
    ResultError
        The results could not be written.
    """
    plan = _plan(study, sure, free, fix, seed)
    folder = study.folder(OURS)
    runs = most_runs(plan), plan.least_runs
    found, files = carried_out(study, folder, seek(plan), write_find, *runs, Think)
    show(told(found, files, study))
    return found.pick is not None


def _plan(study: Study, sure: str, free: str, fix: str, seed: int) -> FindPlan:
    """Plan the search; all faults of its options and of its case are told at once."""
    faults: list[Fault] = []
    wanted, plan = 0.9, None
    try:
        wanted = share_of(sure)
    except CaseError as error:
        faults += error.faults
    try:
        plan = plan_of(study.text, wanted, free, fix, study.mesh, seed)
    except CaseError as error:
        faults += error.faults
    try:
        study.text.case((), study.detail)
    except CaseError as error:
        faults += [fault for fault in error.faults if fault not in faults]
    if plan is None or faults:
        raise CaseError(faults)
    return plan


def told(found: Found, files: Sequence[Path] = (), study: Study | None = None) -> RenderableType:
    """Lay out the settings, how sure they are, what else there is, and what to do next."""
    best = found.picks[0]
    settings = Table.grid(padding=(0, 3, 0, 0))
    settings.add_column(style="dim")
    settings.add_column(overflow="fold")
    settings.add_row("hand", HANDS[best.hand])
    case = found.case
    for key, text in best.inputs:
        settings.add_row(key, _setting(case, key, text))
    if ORDER not in dict(best.inputs):
        settings.add_row(ORDER, f"{spelled_order(case)}, as the case has it")
    if case.arc.control == "pedal":
        low, high = case.arc.current_range
        settings.add_row("pedal", f"{low:.0f} to {high:.0f} A (arc.current_range)")
    below = case.travel.resume_below
    if below is not None:
        words = f"{Wording.of(case).hot(below)}, as the case has it: pauses last until then"
        settings.add_row("resume_below", words)
    settings.add_row("total time", f"{best.time:.0f} s")
    settings.add_row("chance", _chance(best))
    if best.fails:
        settings.add_row("what fails", _fails(best))
    margin = found.plan.case.limits.base_margin
    if best.close:
        told = f"{best.close} of {best.benches} benches succeed with less than {margin:.0f} K"
        settings.add_row("close to melting", f"{told} of margin (limits.base_margin)")
    if best.confirmed is not None:
        settings.add_row(f"{found.plan.case.detail} mesh", _confirmed(best, margin))
        if any(best.shift):
            settings.add_row("", _put(best.shift))
    why = f"{found.why[0].upper()}{found.why[1:]}."
    parts: list[RenderableType] = [
        Text(printable(why), style="bold green" if found.pick else "bold red"),
        Text(),
        settings,
    ]
    if len(found.picks) > 1:
        parts += [Text(), _others(found)]
    if not all(pick.benches for pick in found.picks):
        parts.append(Text(ESTIMATED + _untested(found)))
    if len(found.hands) > 1:
        told = "; ".join(f"{pick.hand} {_estimate(pick)}" for pick in found.hands)
        parts += [Text(), Text(f"Surest setting of each hand, estimated: {told}.")]
    if found.notes:
        notes = (Padding(Text(printable(note)), (0, 0, 0, 2)) for note in found.notes)
        parts += [Text(), Text("Also look at", style="bold"), *notes]
    if found.instead:
        parts += [Text(), _instead(found)]
    parts += [
        Text(),
        Text(_runs(found, files)),
        *_next(found, files, study),
    ]
    return page(found.plan.case.title, parts, files)


def _runs(found: Found, files: Sequence[Path]) -> str:
    """How many runs it took, and what else is in the file of their rows."""
    finer = f" and {found.runs[1]} finer" if found.runs[1] else ""
    told = f"From {found.runs[0]} runs at {found.plan.detail} detail{finer}."
    rows = any(path.name == "rows.jsonl" for path in files)
    return f"{told} rows.jsonl has a line for each, and one for each fit between." if rows else told


def _untested(found: Found) -> str:
    """Why settings that are estimated were not put to the test."""
    if found.pick is not None:
        names = [f"{number}" for number in found.quicker]
        named = f"Choice {names[0]}" if len(names) == 1 else f"Each of {listed(names)}"
        return QUICKER.format(named) if names else SLOWER
    tests = found.plan.effort.tries
    return LESS if sum(pick.benches > 0 for pick in found.picks) < tests else MOST.format(tests)


def _setting(case: Case, key: str, text: str) -> str:
    """Value of a key; what a number of it means where that is not plain."""
    if key == "travel.order":
        return spelled_order(case)
    if key == "travel.segment":
        count = case.segment_count
        each = Wording.of(case).long(case.tube.circumference / count)
        return f"{text} at most: {count} of {each}"
    if key == "arc.current" and case.arc.control == "pedal":
        return f"{text} at each strike"
    return text


def _chance(pick: Pick) -> str:
    if pick.benches:
        return f"{_hits(pick)} fresh benches succeed, so {_interval(pick)} of all"
    return f"{_estimate(pick)} of benches succeed, estimated"


def _hits(pick: Pick) -> str:
    return f"{round(pick.chance * pick.benches)} of {pick.benches}"


def _interval(of: Pick | Change) -> str:
    return f"{100 * of.low:.0f} to {100 * of.high:.0f} %"


def _estimate(pick: Pick) -> str:
    return f"{100 * pick.chance:.0f} % ({_interval(pick)})"


def _fails(pick: Pick) -> str:
    words = {
        "base": "the base melts",
        "failed": "no result",
        **{key: each.clause for key, each in FAILS.items()},
    }
    return "; ".join(f"{words.get(key, key)}: {count}" for key, count in pick.fails.items())


def _confirmed(pick: Pick, base_margin: float) -> str:
    row = pick.confirmed or {}
    if row.get("failed") is not None:
        return printable(str(row["failed"]))
    told, wanted = [], (("margin", "margin_K", base_margin), ("slack", "filler_slack_K", 0.0))
    for word, name, least in wanted:
        value = row.get(name)
        if value is not None:
            told.append(f"{word} {float(value):.0f} K ({least:.0f} K wanted)")
    seconds, arc = (float(row.get(name) or 0.0) for name in ("total_s", "arc_on_s"))
    told.append(f"{seconds:.0f} s, arc on for {arc:.0f} s of it")
    full = float(row.get("pedal_high_s") or 0.0)
    told += [f"pedal at its top for {full:.0f} s"] if full >= 0.5 else []
    return f"where nothing strays: {', '.join(told)}"


def _put(shift: tuple[float, float]) -> str:
    """What the case's own mesh puts on every bench."""
    margin, slack = map(_moved, shift)
    return f"its mean difference is put on every bench: margin {margin}, slack {slack}"


def _moved(kelvin: float) -> str:
    """Change of a margin, never "-0 K"."""
    return f"{round(kelvin):+d} K"


def _others(found: Found) -> Table:
    """Settings side by side, a column each: so most fit a narrow screen, and nothing is cut."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="dim")
    table.add_column("choice", overflow="fold")
    for number, _ in enumerate(found.picks, start=1):
        table.add_column(str(number), overflow="fold")
    keys = list(dict.fromkeys(key for pick in found.picks for key, _ in pick.inputs))
    table.add_row("hand", *(pick.hand for pick in found.picks))
    for key in keys:
        if key not in ("travel.start", "arc.control"):
            name = key.partition(".")[2]
            table.add_row(name, *(dict(pick.inputs).get(key, "") for pick in found.picks))
    table.add_row("time", *(f"{pick.time:.0f} s" for pick in found.picks))
    counted = [_hits(p) if p.benches else f"{100 * p.chance:.0f} %" for p in found.picks]
    table.add_row("chance", *counted)
    table.add_row("95 % interval", *map(_interval, found.picks))
    table.add_row("chance was", *("counted" if p.benches else "estimated" for p in found.picks))
    return table


def _instead(found: Found) -> Table:
    """What else was tried at the surest setting: what it moves, and the chance that leaves."""
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    for name in ("would it help?", "changed", "margin", "slack", "chance"):
        table.add_column(name, overflow="fold")
    for change in found.instead:
        chance = _interval(change)
        table.add_row(
            change.name,
            "; ".join(f"{key} = {value}" for key, value in change.inputs),
            *(_moved(kelvin) for kelvin in (change.base, change.filler)),
            f"{chance}, {change.benches} benches" if change.counted else f"{chance}, estimated",
        )
    return table


def _next(found: Found, files: Sequence[Path], study: Study | None) -> list[Text]:
    """Commands that come next."""
    case = next((path for path in files if path.name == "case.toml"), None)
    if case is None:
        return []
    name = shlex.quote(str(case))
    if found.pick is not None:
        lines = [f"Next: lapheat run {name}"]
        lines.append(f"Its chance on benches that had no part in the choice: lapheat risk {name}")
        if study is not None and found.quicker:
            number = found.quicker[0]
            risk = command_line(study, "risk", found.picks[number - 1].inputs)
            lines.append(f"The chance of choice {number}, which would be quicker: {risk}")
        return [Text(printable(line)) for line in lines]
    lines = [f"Next: lapheat risk {name} shows what drives the failures."]
    lines.append("Wider ranges under [bench] or with --free KEY=FROM:TO may hold more.")
    if "pedal" not in found.plan.hands:
        lines.append("A hand with a pedal was not tried: bench.hand leaves it out.")
    return [Text(printable(line)) for line in lines]
