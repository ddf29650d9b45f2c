"""What one step of each lever does to each number that has a limit, and to the time."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from ...report.figures.style import INK, LINES, Array, new_figure, short, styled
from .explain import Explained
from .measures import asked, slacks
from .search import Pull

__all__ = ["levers"]

UP, DOWN = LINES[0], LINES[5]
HIGH = 0.36  # of a bar


def levers(found: Explained) -> Figure:
    """Draw bars of each lever on each measure, one step up and one step down."""
    with styled():
        return _drawn(found)


def _drawn(found: Explained) -> Figure:
    keys = list(dict.fromkeys(pull.lever.key for pull in found.pulls))
    measures = asked(found.case)
    count = len(measures) + 1
    figure = new_figure(1.9 + 1.35 * count, 1.9 + 0.36 * max(1, len(keys)))
    panels = figure.subplots(1, count, sharey=True, squeeze=False)[0]
    base = slacks(found.base, found.case)
    told = [slacks(pull.row, found.case) - base for pull in found.pulls]
    changes = np.array(told).reshape(-1, len(measures))
    kelvin = [i for i, measure in enumerate(measures) if measure.row != "lap_filled"]
    for i, (axes, measure) in enumerate(zip(panels, measures, strict=False)):
        lap = measure.row == "lap_filled"
        shown = changes[:, [i] if lap else kelvin]
        _bars(axes, found, keys, changes[:, i], float(np.abs(shown).max(initial=0.0)))
        state = f"{abs(base[i]):.0f} {'%' if lap else 'K'} {'short' if base[i] < 0.0 else 'spare'}"
        axes.set_title("\n".join([*measure.word.rsplit(" ", 1), state, f"at {found.detail}"]))
        axes.set_xlabel("change [%]" if lap else "change [K]")
    total = float(found.base["total_s"] or 0.0)
    seconds = np.array([float(pull.row["total_s"] or 0.0) - total for pull in found.pulls])
    _bars(panels[-1], found, keys, seconds, float(np.abs(seconds).max(initial=0.0)))
    panels[-1].set_title(f"total\ntime\n{total:.0f} s\nat {found.detail}")
    panels[-1].set_xlabel("change [s]")
    panels[0].set_yticks(range(len(keys)), [_label(key, found.pulls) for key in keys])
    panels[0].set_ylim(len(keys) - 0.4, -0.6)
    handles = [Patch(color=UP, label="key raised"), Patch(color=DOWN, label="key lowered")]
    figure.legend(handles=handles, loc="outside lower center", ncols=2)
    title = f"{short(found.case.title, 40)}: {_finding(found)}; what one step does"
    figure.suptitle(title, fontsize=9.5, fontweight="bold", x=0.02, ha="left")
    return figure


def _finding(found: Explained) -> str:
    if found.works:
        return "works as it is"
    mended = next((advice for advice in found.advice if advice.works), None)
    if mended is None:
        return "no change that was tried mends it"
    if len(mended.inputs) > 2:
        return f"{len(mended.inputs)} keys together mend it"
    turns = " and ".join(f"{key} = {text}" for key, text in mended.inputs)
    return f"{turns} {'mends' if len(mended.inputs) == 1 else 'mend'} it"


def _bars(axes: Axes, found: Explained, keys: list[str], changes: Array, most: float) -> None:
    for pull, change in zip(found.pulls, changes, strict=True):
        up = pull.to.value > pull.lever.own.value
        at = keys.index(pull.lever.key) + (-0.5 if up else 0.5) * HIGH
        axes.barh(at, change, height=HIGH, color=UP if up else DOWN)
    axes.axvline(0.0, color=INK, linewidth=0.7)
    axes.grid(visible=True, axis="x")
    axes.tick_params(axis="y", length=0.0)
    axes.locator_params(axis="x", nbins=3)
    axes.set_xlim(-1.1 * max(1.0, most), 1.1 * max(1.0, most))


def _label(key: str, pulls: tuple[Pull, ...]) -> str:
    """Key, its step down, its own setting and its step up."""
    mine = sorted((p for p in pulls if p.lever.key == key), key=lambda p: p.to.value)
    own = mine[0].lever.own
    below = [p.to.text for p in mine if p.to.value < own.value]
    above = [p.to.text for p in mine if p.to.value > own.value]
    return f"{key}\n{' < '.join([*below, own.text, *above])}"
