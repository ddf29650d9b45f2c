"""The answer on a terminal: short tables, the verdict, notes, cautions, where the files are."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ..case.case import Case
from ..case.faults import printable
from ..constants import ZERO_CELSIUS
from ..history.records import History
from ..outcomes.current import current_of, pressed
from ..outcomes.findings import Judgement
from ..outcomes.outcomes import FillerOutcome, FlangeOutcome, Outcomes, TubeOutcome
from ..outcomes.sentence import notes_of, sentence, sentences_of
from ..outcomes.strength import LAP_RULE, StrengthOutcome
from ..outcomes.wording import OUT_OF_SCOPE, Wording, numbered
from .sentences import CAUTIONS, UNCERTAINTY
from .soundness import soundness_table
from .studied import levers_of

if TYPE_CHECKING:
    from ..outcomes.convergence import Convergence, Row

__all__ = ["report_of"]

FILLER_HEADINGS = ("filler", "reached", "flows at", "surplus", "wanted")


def report_of(
    history: History,
    outcomes: Outcomes,
    files: Sequence[Path] = (),
    convergence: Convergence | None = None,
) -> RenderableType:
    """Lay out a run for a person, with the user's own units beside degC and mm.

    Parameters
    ----------
    history, outcomes : the run
    files : what was written
    convergence : the same case on three meshes, if it was computed
    """
    case = history.case
    words = Wording.of(case)
    parts: list[RenderableType] = [Text(printable(case.title), style="bold")]
    parts += [_base(case, outcomes, words), _rest(history, case, outcomes, words)]
    parts += [Text(), soundness_table(case, outcomes, words)]
    if convergence is not None:
        parts += [Text(), _meshes(convergence), Text(UNCERTAINTY, style="dim")]
    judgement = outcomes.verdict.judgement
    parts += [Text(), *_verdict(judgement, words)]
    parts += _list("Also look at", [*map(sentence, notes_of(judgement, words))])
    parts += _list("What to change", levers_of(case).advice)
    notes = [*case.assumed, *outcomes.alloys.held, *outcomes.soundness.notes]
    parts += _list("Notes", notes)
    parts += _list("Cautions", CAUTIONS)
    if files:
        parts += _list("Files", _places(files))
    return Group(*parts)


def _verdict(judgement: Judgement, words: Wording) -> Iterator[RenderableType]:
    """The sentence whole; several faults a line each."""
    told = sentences_of(judgement, words)
    if not judgement.fails:
        told = ["; ".join(told)]
    style = "bold red" if judgement.fails else "green"
    if len(told) == 1:
        yield Text.assemble(("Verdict: ", "bold"), (sentence(told[0]), style))
        return
    yield Text("Verdict:", style="bold")
    for fault in told:
        yield Padding(Text(sentence(fault), style=style), (0, 0, 0, 2), expand=False)


def _base(case: Case, outcomes: Outcomes, words: Wording) -> Table:
    """Margins of the base and, beneath them, surpluses of the filler."""
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    for heading in ("base", "peak", "solidus", "margin", "wanted"):
        table.add_column(heading)
    rows: list[tuple[str, TubeOutcome | FlangeOutcome | None]] = [
        ("tube", outcomes.tube),
        ("flange", outcomes.flange),
    ]
    limit = case.limits.base_margin
    for name, part in rows:
        if part is not None:
            margin = "-" if part.margin_K is None else words.apart(part.margin_K, 0.0, limit)
            short = part.margin_K is not None and part.margin_K < limit
            table.add_row(
                name,
                _hot(part.peak_C, words),
                _hot(part.solidus_C, words),
                Text(margin, style="red" if short else ""),
                words.apart(limit),
            )
    filler, wanted = outcomes.filler, case.limits.flow_margin
    if filler is None:
        return table
    table.add_row(*(Text(word, style="dim") for word in FILLER_HEADINGS))
    surpluses = [
        ("tube side", filler.tube_side_surplus_K),
        ("flange side", filler.flange_side_surplus_K),
        ("coldest spot", filler.coldest_C - filler.flow_C),
    ]
    for name, surplus in surpluses:
        spot = name == "coldest spot"
        short = surplus < wanted and not spot
        table.add_row(
            name,
            _hot(filler.flow_C + surplus, words),
            _hot(filler.flow_C, words),
            Text(words.apart(surplus, 0.0, wanted), style="red" if short else ""),
            "" if spot else words.apart(wanted),
        )
    return table


def _rest(history: History, case: Case, outcomes: Outcomes, words: Wording) -> Table:
    grid = Table.grid(padding=(0, 3, 0, 0))
    grid.add_column(style="dim")
    grid.add_column(overflow="fold")
    filler, wanted = outcomes.filler, case.limits.wet_fraction
    if filler is not None:
        grid.add_row("wet", _wet(filler, wanted, words))
    rod = outcomes.supplies
    if case.fillet is not None:
        grid.add_row(
            "rod",
            f"{words.long(rod.rod_m)} of {words.long(case.fillet.wire_diameter)} rod, "
            f"{1e3 * rod.filler_kg:.1f} g, fed at {1e3 * rod.feed_m_s:.1f} mm/s as the arc travels",
        )
    if case.lap is not None:
        sound = outcomes.soundness
        part = sound.hot_clearance_m <= 0.0 < sound.lap_filled
        entered = ", filled while it was open" if part else ""
        grid.add_row(
            "lap",
            f"{words.share(sound.lap_filled)} filled; gap {words.thin(case.lap.clearance)} cold, "
            f"{_gap(sound.hot_clearance_m, words)} at its smallest{entered}",
        )
    if outcomes.strength is not None:
        for row in _strength(outcomes.strength, words):
            grid.add_row(*row)
    if case.tacks:
        grid.add_row("tacks", _tacks(case, words))
    if case.fixture.chill is not None and outcomes.chill is not None:
        grid.add_row(
            "chill",
            f"{printable(case.fixture.chill.alloy)}, took {_heat(outcomes.heat.chill_J)}, hottest "
            f"at {_hot(outcomes.chill.peak_C, words)}",
        )
    if case.fixture.bench is not None:
        grid.add_row("bench", f"took {_heat(outcomes.heat.bench_J)}")
    for row in _hand(history, case, words):
        grid.add_row(*row)
    for name, probe in outcomes.probes.items():
        rising = ", still rising" if probe.peak_s >= outcomes.time.simulated_s - 1e-6 else ""
        reading = f"{_hot(probe.peak_C, words)} at {probe.peak_s:.1f} s{rising}"
        grid.add_row("probe", f"{printable(name)}: {reading}")
    time, heat = outcomes.time, outcomes.heat
    grid.add_row("time", f"{time.total_s:.0f} s, arc on for {time.arc_on_s:.0f} s of it")
    gas, flow = case.supplies, 6e4 * case.supplies.argon_flow
    grid.add_row(
        "argon",
        f"{words.gas(rod.argon_m3)}: {flow:.3g} L/min for {rod.gas_s:.0f} s, {gas.pre_flow:g} s "
        f"before and {gas.post_flow:g} s after each arc, no purge",
    )
    grid.add_row(
        "heat",
        f"arc {_heat(heat.arc_J)} + filler {_heat(heat.filler_J)} = lost {_heat(heat.lost_J)} + "
        f"stored {_heat(heat.stored_J)} (imbalance {heat.imbalance:.0e}); the arc drew "
        f"{_heat(rod.arc_energy_J)}",
    )
    march, mesh = outcomes.march, outcomes.mesh
    grid.add_row(
        "run",
        f"{mesh.cells} cells ({mesh.detail}), {march.steps} steps, {march.name} march, "
        f"{march.wall_s:.1f} s",
    )
    return grid


def _wet(filler: FillerOutcome, wanted: float, words: Wording) -> str:
    dry = filler.longest_dry_m
    stretch = f"longest dry stretch {words.long(dry)}" if dry > 0.0 else "no dry spot"
    return (
        f"{words.share(filler.tube_side_wet, wanted)} of the tube side, "
        f"{words.share(filler.flange_side_wet, wanted)} of the flange side; "
        f"{words.share(wanted)} wanted; {stretch}"
    )


def _hand(history: History, case: Case, words: Wording) -> Iterator[tuple[str, str]]:
    """Rows of what the hand did: its waits for flow, its current and where that sat on a limit."""
    runs = history.segments
    if case.travel.start == "on-flow":
        waits = ", ".join(f"{run.number}: {run.wait:.1f} s" for run in runs)
        yield "waits", f"for flow at the start of each segment as run: {waits}"
    pedal = case.arc.pedal
    if pedal is None:
        return
    steps, current = pressed(history), current_of(history)
    told = []
    for which, limit in zip(("low", "high"), pedal.range, strict=True):
        sat = steps.on_limit(which)
        end = f"its {'lower' if which == 'low' else 'upper'} limit of {limit:.0f} A"
        where = f"for {sum(sat.values()):.1f} s ({numbered('segment', list(sat))})"
        told.append(f"on {end} {where}" if sat else f"never on {end}")
    yield (
        "pedal",
        f"{current.least_A:.0f} to {current.most_A:.0f} A, mean {current.mean_A:.0f} A, to hold "
        f"{words.hot(pedal.hold)}; {'; '.join(told)}",
    )
    means = ", ".join(f"{number}: {amps:.0f} A" for number, amps in steps.means().items())
    yield "current", f"mean of each segment as run: {means}"


def _meshes(convergence: Convergence) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    table.add_column("on three meshes")
    for grid in convergence.grids:
        table.add_column(grid.detail, justify="right")
    table.add_column("order")
    table.add_column("half steps", justify="right")
    table.add_column("uncertainty", justify="right")
    lengths = [f"{grid.size * 1e3:.2f} mm" for grid in convergence.grids]
    table.add_row("cell length along the joint", *lengths, "", "", "", style="dim")
    for row in convergence.rows:
        estimate = row.estimate
        order = estimate.kind if estimate.order is None else f"{estimate.order:.1f}"
        values = [_cell(row, value) for value in row.values]
        unsure = [_cell(row, value, "K") for value in (row.step, row.uncertainty)]
        table.add_row(printable(row.label), *values, order, *unsure)
    return table


def _cell(row: Row, value: float, unit: str | None = None) -> str:
    """Value of a row, shares in percent; `unit` is that of a difference."""
    if not row.unit:
        return f"{100.0 * value:.1f} %"
    return f"{value:.1f} {unit or row.unit}"


def _hot(celsius: float | None, words: Wording) -> str:
    return "none" if celsius is None else words.hot(celsius + ZERO_CELSIUS)


def _gap(metres: float, words: Wording) -> str:
    return words.thin(metres) if metres > 0.0 else "shut"


def _strength(told: StrengthOutcome, words: Wording) -> Iterator[tuple[str, str]]:
    """Loads and what they rest on; nothing of it is told without what it is not for."""
    loads = [told.lap_N, told.fillet_N, told.joint_N, told.tube_yield_N]
    lap, fillet, joint, tube = ("" if load is None else words.force(load) for load in loads)
    if told.ratio is None:
        yield "strength", f"not told: {told.missing}"
    else:
        yield (
            "strength",
            f"pulled along its axis, lap ({lap}) and fillet throat ({fillet}, by the "
            f"{told.drier_side} side's wet share) carry {joint} in shear, "
            f"{words.share(told.ratio)} of the {tube} at which the tube yields; sound from 100 %, "
            "at the least yield of its alloy: a stronger tube lowers it",
        )
        yield (
            "",
            f"safety factor {told.safety_factor:g}, as in EN 1993-1-8; cold, static, tube annealed;"
            f" {OUT_OF_SCOPE}",
        )
    yield (
        "lap rule",
        f"{told.lap_over_wall:.1f} walls deep, {told.filled_over_wall:.1f} of them filled; sound "
        f"from {LAP_RULE:g} filled (AWS C3.1)",
    )


def _tacks(case: Case, words: Wording) -> str:
    """Count, length and how they came there."""
    count, laid = len(case.tacks), len(case.arc_tacks)
    total = words.long(sum(tack.length for tack in case.tacks))
    told = f"{count}, {total} in all" if count > 1 else f"1 of {total}"
    if laid == 0:
        return f"{told}, there from the start and into the lap by one tube wall"
    if laid == count:
        return f"{told}, laid by short arcs before the first segment"
    return f"{told}, {laid} of them laid by short arcs, the others there from the start"


def _heat(joules: float) -> str:
    if abs(joules) < 999.5:
        return f"{joules:.0f} J"
    return f"{joules / 1e3:.1f} kJ"


def _list(heading: str, items: Sequence[str]) -> Iterator[RenderableType]:
    if items:
        yield Text()
        yield Text(heading, style="bold")
        for item in items:
            yield Padding(Text(printable(item)), (0, 0, 0, 2), expand=False)


def _places(files: Sequence[Path]) -> list[str]:
    """Folder once, then what is in it."""
    folder = files[0].parent
    names = [str(path.relative_to(folder)) for path in files]
    return [str(folder), f"  {', '.join(names)}"]
