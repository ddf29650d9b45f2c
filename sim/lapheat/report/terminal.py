"""The answer on a terminal: what is read at once. The rest is in report.html."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from ..case.case import Case, Limits
from ..case.faults import printable
from ..constants import ZERO_CELSIUS
from ..history.records import History
from ..history.wetting import SPOT
from ..outcomes.findings import Judgement, WeakJoint
from ..outcomes.outcomes import FillerOutcome, FlangeOutcome, Outcomes, TubeOutcome
from ..outcomes.sentence import MOST_NOTES, notes_of, sentence, sentences_of
from ..outcomes.strength import LAP_RULE, StrengthOutcome
from ..outcomes.wording import OUT_OF_SCOPE, Wording
from .sentences import CAUTIONS, UNCERTAINTY, hand_told
from .soundness import soundness_rows
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
    if convergence is not None:
        parts += [Text(), _meshes(convergence), Text(UNCERTAINTY, style="dim")]
    judgement = outcomes.verdict.judgement
    parts += [Text(), *_verdict(judgement, words)]
    parts += _list("Also look at", [*map(sentence, notes_of(judgement, words))])
    parts += _list("What to change", levers_of(case).advice)
    unknown = (*outcomes.alloys.held, *outcomes.soundness.notes)
    parts += _list("Notes", [*case.assumed, *map(sentence, unknown)])
    parts += [Text(), *_list("Cautions", CAUTIONS)]
    if files:
        parts += _list(f"Files in {printable(str(files[0].parent))}", [_names(files)])
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
    rows_of_filler = [
        ("tube side", filler.tube_side_surplus_K),
        ("flange side", filler.flange_side_surplus_K),
        (f"stretch over {words.long(case.limits.dry_length)}", filler.stretch_surplus_K),
    ]
    for name, surplus in rows_of_filler:
        if not isfinite(surplus):  # no stretch can be as long
            continue
        table.add_row(
            name,
            _hot(filler.flow_C + surplus, words),
            _hot(filler.flow_C, words),
            Text(words.apart(surplus, 0.0, wanted), style="red" if surplus < wanted else ""),
            words.apart(wanted),
        )
    return table


def _rest(history: History, case: Case, outcomes: Outcomes, words: Wording) -> Table:
    grid = Table.grid(padding=(0, 3, 0, 0))
    grid.add_column(style="dim")
    grid.add_column(overflow="fold")
    filler = outcomes.filler
    if filler is not None:
        grid.add_row("wet", _wet(filler, case.limits, words))
    if case.lap is not None:
        grid.add_row("lap", _lap(outcomes, words))
    shown = outcomes.verdict.judgement.notes[:MOST_NOTES]
    if outcomes.strength is not None and not any(isinstance(n, WeakJoint) for n in shown):
        for line in _strength(outcomes.strength, words):
            grid.add_row(*line)
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
    for row in hand_told(history, words):
        grid.add_row(*row)
    if outcomes.probes:
        readings = [
            f"{printable(name)} {_hot(probe.peak_C, words)} at {probe.peak_s:.1f} s"
            f"{', still rising' if probe.peak_s >= outcomes.time.simulated_s - 1e-6 else ''}"
            for name, probe in outcomes.probes.items()
        ]
        grid.add_row("probes", "; ".join(readings))
    for sound in soundness_rows(case, outcomes, words):
        grid.add_row(sound.name, f"{sound.found}; {sound.sound}")
    time, rod = outcomes.time, outcomes.supplies
    used = f"{words.gas(rod.argon_m3)} of argon without a purge"
    if case.fillet is not None:
        used = f"{words.long(rod.rod_m)} of rod, {used}"
    grid.add_row("time", f"{time.total_s:.0f} s, arc on for {time.arc_on_s:.0f} s of it; {used}")
    march, mesh = outcomes.march, outcomes.mesh
    grid.add_row(
        "run",
        f"{mesh.cells} cells ({mesh.detail}), {march.steps} steps, {march.name} march, "
        f"{march.wall_s:.1f} s; heat closes to {outcomes.heat.imbalance:.0e}",
    )
    return grid


def _wet(filler: FillerOutcome, limits: Limits, words: Wording) -> str:
    wanted = limits.wet_fraction
    return (
        f"{words.share(filler.tube_side_wet, wanted)} of the tube side, "
        f"{words.share(filler.flange_side_wet, wanted)} of the flange side; "
        f"{words.share(wanted)} wanted; {_dry(filler, limits.dry_length, words)}"
    )


def _dry(filler: FillerOutcome, most: float, words: Wording) -> str:
    """Longest dry stretch, never rounded to nothing."""
    if filler.longest_dry_m >= 0.5e-4:
        found = words.long(filler.longest_dry_m)
        return f"longest dry stretch {found}, {words.long(most)} allowed"
    if filler.longest_dry_m > 0.0:
        return "longest dry stretch under 0.1 mm"
    whole = filler.tube_side_wet == filler.flange_side_wet == 1.0
    return "no dry spot" if whole else f"no dry stretch over {words.long(SPOT)}"


def _lap(outcomes: Outcomes, words: Wording) -> str:
    """How much of it filled, and its gap; no rule of strength where the tube melts."""
    sound, strength, margin = outcomes.soundness, outcomes.strength, outcomes.tube.margin_K
    part = sound.hot_clearance_m <= 0.0 < sound.lap_filled
    told = [f"{words.share(sound.lap_filled)} filled"]
    if strength is not None and (margin is None or margin > 0.0):
        told[0] += f", {strength.filled_over_wall:.1f} of its {strength.lap_over_wall:.1f} walls"
        told.append(f"sound from {LAP_RULE:g} walls filled (AWS C3.1)")
    told.append(f"gap {_gap(sound.hot_clearance_m, words)} at its smallest")
    return "; ".join(told) + (", filled while it was open" if part else "")


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
    if told.ratio is None or told.joint_N is None or told.tube_yield_N is None:
        yield "strength", f"not told: {told.missing}"
        return
    yield (
        "strength",
        f"lap and fillet carry {words.force(told.joint_N)}, {words.share(told.ratio)} of the "
        f"{words.force(told.tube_yield_N)} at which the tube yields; sound from 100 %",
    )
    yield "", f"safety factor {told.safety_factor:g}, cold static pull; {OUT_OF_SCOPE}"
    yield "", "at the least yield of the tube's alloy: a stronger tube makes that share smaller"


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
        yield Text(heading, style="bold")
        for item in items:
            yield Padding(Text(printable(item)), (0, 0, 0, 2), expand=False)


def _names(files: Sequence[Path]) -> str:
    """What is in the folder of results; of pictures their folder alone."""
    names = [path.relative_to(files[0].parent) for path in files]
    told = ("figures/" if name.parts[0] == "figures" else str(name) for name in names)
    return ", ".join(dict.fromkeys(told))
