"""`lapheat calibrate`: fit a case to measurements, write it, and say how sure it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ...case.faults import printable
from ...case.units import LENGTH, SPEED, in_unit
from ...study.asked import calibration_of
from ...study.calibration.answers import Answers
from ...study.calibration.caliper.fit import Caliper
from ...study.calibration.files import OURS, write_calibration
from ...study.calibration.fit import TOLERANCE
from ...study.calibration.histories import ALIKE, CLOSEST
from ...study.calibration.readings import Calibration
from ..terminal.screen import show
from .frame import Study, carried_out, page

__all__ = ["carry_out"]


def carry_out(
    study: Study,
    measured: Path,
    fit: str | None,
    bounds: Sequence[str],
    clock: bool,
    scatter: str,
    reading_error: str,
) -> bool:
    """Fit a case, write the results and show them; whether it fits.

    Parameters
    ----------
    study : what every such command is asked
    measured, fit, bounds, clock, scatter, reading_error : as on the command line

    Raises
    ------
    CaseError
        Something asked for is refused.
    MarchError, ResultError
        A run failed, or the results could not be written.
    """
    asked = calibration_of(
        study.source, measured, fit, bounds, clock, scatter, reading_error, study.mesh
    )
    folder = study.folder(OURS)
    runs = asked.most, asked.least
    found, files = carried_out(study, folder, asked.planner, write_calibration, *runs)
    show(told(found, files))
    return isinstance(found, Answers) or not found.misfit


def told(found: Calibration | Answers | Caliper, files: Sequence[Path] = ()) -> RenderableType:
    """Lay out fitted values, how well they fit, what they leave open, cautions and files."""
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    for heading in ("fitted", "was", "is", "95 % interval", "key"):
        table.add_column(heading)
    for item in found.fitted:
        u = item.unknown
        interval = f"{u.shown(item.low)} to {u.shown(item.high)}"
        table.add_row(u.name, u.shown(u.start), u.shown(item.value), interval, u.key)
    if isinstance(found, Calibration) and found.offset is not None:
        value, low, high = (f"{number:+.2f} s" for number in found.offset)
        table.add_row("clock", "+0 s", value, f"{low} to {high}", "")
    style = "bold red" if found.blind else "bold green"
    verdict = "Not identifiable:" if found.blind else "The measurements tell each of them."
    said = found.blind
    if not isinstance(found, Answers) and found.misfit:
        style, verdict = "bold red", "It does not fit, so no case was written:"
        said = tuple(_misfit(found) if isinstance(found, Calibration) else _off(found))
    parts: list[RenderableType] = [
        table,
        Text(),
        *(Text(line) for line in _quality(found)),
        Text(),
        Text(verdict, style=style),
        *(Text(f"  {line[0].upper()}{line[1:]}.") for line in said),
    ]
    if isinstance(found, Caliper) and found.next is not None:
        parts += [Text(), Text("Next bead", style="bold"), Text(f"  {_advice(found)}")]
    return page(found.case.title, parts, files)


def _quality(found: Calibration | Answers | Caliper) -> Iterator[str]:
    """Say how well it fits, and what the intervals hold for."""
    if isinstance(found, Answers):
        yield (
            f"Logarithm of the likelihood {found.before_log:.1f} before, {found.log:.1f} after, "
            f"for answers that scatter by {found.scatter:g} K from trial to trial."
        )
        return
    if isinstance(found, Caliper):
        yield (
            f"Widths off by {1e3 * found.before_rms:.2f} mm before, {1e3 * found.rms:.2f} mm after "
            f"(root mean square) at {found.detail} detail, read to {1e3 * found.reading:.2g} mm."
        )
        off = float(np.nanmean(found.computed(found.after) - found.beads.widths))
        yield (
            f"Computed less measured is {1e3 * off:+.2f} mm in the mean; the chance of misfits as "
            f"large as these, if the errors are as stated, is {100.0 * found.chance:.1f} %."
        )
        yield "The intervals hold errors of reading, of mesh and of what temperature an edge marks."
        return
    yield (
        f"Off by {found.before_rms:.1f} K before, {found.rms:.1f} K after (root mean square) at "
        f"{found.detail} detail."
    )
    used = int(np.isfinite(found.readings.values).sum())
    if used < found.given:
        yield f"Of {found.given} readings {used} are used, one a probe in every {CLOSEST:g} s."
    if found.own_rms is not None:
        yield f"At {found.case.detail} detail the fitted case is off by {found.own_rms:.1f} K."
        if found.own_rms > found.rms + TOLERANCE:
            yield f"That is more: fit again with --detail {found.case.detail}."
    if found.hint:
        yield f"{found.hint[0].upper()}{found.hint[1:]}."
    if not found.misfit:
        yield (
            "The intervals hold for errors that come and go and for probes off their place by "
            "probe.place_error; a probe that reads wrong throughout comes on top. Readings of one "
            f"probe within {ALIKE:g} s count as one."
        )
    for item in found.fitted:
        if item.shared > 0.5 * max(item.value - item.low, item.high - item.value):
            shown = item.unknown.shown(item.shared)
            yield f"The places of the probes alone make {item.unknown.name} uncertain by {shown}."


def _misfit(found: Calibration) -> Iterator[str]:
    """Say why it does not fit, and what is likely wrong."""
    yield from found.misfit
    yield from found.causes
    worst = int(np.argmax(found.probe_rms))
    rest = [rms for j, rms in enumerate(found.probe_rms) if j != worst]
    if rest and found.probe_rms[worst] > 2.0 * max(rest):
        yield (
            f'probe "{printable(found.readings.names[worst])}" is off by '
            f"{found.probe_rms[worst]:.0f} K, the others by {max(rest):.0f} K at most"
        )
    yield (
        f"{'else look at' if found.causes else 'likely causes'}: a heading with the wrong unit, "
        "probes swapped or at another place than the case says, a clock that did not start with "
        "the arc (--clock), current, voltage or speed other than those of the case"
    )


def _off(found: Caliper) -> Iterator[str]:
    """Say why beads do not fit, and what is likely wrong."""
    yield from found.misfit
    yield (
        "likely causes: a heading with the wrong unit, bore and outside swapped, another crayon "
        "than the heading says, current, speed or voltage other than those of the beads, a bead "
        "on a tube that was still warm or shorter than travel.segment"
    )


def _advice(found: Caliper) -> str:
    """Which bead to run next, and what it would tell."""
    bead, beads = found.next, found.beads
    if bead is None:
        return ""

    def fast(*speeds: float) -> str:
        shown = [f"{in_unit(v, SPEED, beads.speed_unit):.3g}" for v in speeds]
        return f"{' to '.join(shown)} {beads.speed_unit}"

    gains = [
        f"{item.unknown.name} to plus or minus {item.unknown.shown(then)} (now "
        f"{item.unknown.shown(now)})"
        for item, now, then in zip(found.fitted, bead.now, bead.then, strict=True)
    ]
    widths = [
        f"{edge.name} {in_unit(width, LENGTH, beads.width_unit):.3g} {beads.width_unit}"
        for edge, width in zip(beads.edges, bead.widths, strict=True)
    ]
    low, high = bead.currents
    return (
        f"Run {bead.current:g} A at {fast(bead.speed)}: it would tell {', '.join(gains)}. Expect "
        f"{', '.join(widths)}. Tried were {low:g} to {high:g} A at {fast(*bead.speeds)}, but no "
        "bead that melts the bore wider than yours did."
    )
