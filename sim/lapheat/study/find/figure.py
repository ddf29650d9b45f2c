"""Chance of success against time: what was confirmed, and what else there is to choose from."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ...outcomes.wording import listed
from ...report.figures.style import INK, LINES, MUTED, new_figure, short, styled
from .seek import Found
from .trying import Pick

__all__ = ["chances", "passed_over"]

MARKS = {"clock": "s", "flow": "^", "pedal": "o"}
WORDS = {"clock": "by the clock", "flow": "waits for flow", "pedal": "waits, with a pedal"}
HUES = dict(zip(MARKS, LINES, strict=False))


def chances(found: Found) -> Figure:
    """Draw each pick with its interval; filled where fresh benches confirmed it."""
    with styled():
        return _drawn(found)


def passed_over(found: Found) -> list[str]:
    """Say why a pick that seems sure enough, and quicker than the one chosen, was not chosen."""
    reasons: dict[str, list[int]] = {}
    first, *others = found.picks
    for number, pick in enumerate(others, start=2):
        if pick.chance >= found.plan.sure and (found.pick is None or pick.time < first.time):
            why = (
                "the case as it is fails its limits"
                if pick.benches
                else "estimated, not put to the test on fresh benches"
            )
            reasons.setdefault(why, []).append(number)
    return [f"not chosen: {listed(list(map(str, n)))}, {why}" for why, n in reasons.items()]


def _drawn(found: Found) -> Figure:
    figure = new_figure(6.4, 4.0)
    axes = figure.add_subplot()
    for number, pick in enumerate(found.picks, start=1):
        _draw(axes, pick, number, pick is found.picks[0])
    axes.axhline(100.0 * found.plan.sure, color=INK, linewidth=0.9, linestyle="--", zorder=1)
    axes.set_ylim(0.0, 106.0)
    times = np.array([pick.time for pick in found.picks])
    room = 0.12 * max(float(np.ptp(times)), 0.2 * float(times.max()))
    axes.set_xlim(times.min() - room, times.max() + room)
    axes.set_xlabel("\n".join(["total time [s]", *passed_over(found)]))
    axes.set_ylabel("benches that succeed [%]")
    best = found.picks[0]
    told = f"{100.0 * best.chance:.0f} % of benches succeed in {best.time:.0f} s"
    if found.pick is None:  # a share that rounds up to the one wanted would mislead
        hits = round(best.chance * best.benches)
        told = f"not sure enough; at best {hits} of {best.benches} benches in {best.time:.0f} s"
    axes.set_title(f"{short(found.plan.case.title, 32)}: {told}")
    axes.grid(visible=True)
    hands = list(dict.fromkeys(pick.hand for pick in found.picks))
    handles = [
        Line2D([], [], color=HUES[hand], marker=MARKS[hand], linestyle="none", label=WORDS[hand])
        for hand in hands
    ]
    handles += [
        Line2D([], [], color=INK, linestyle="--", linewidth=0.9, label="wanted"),
        Line2D([], [], color=MUTED, marker="o", markerfacecolor="white", linestyle="none",
               label="estimated, not confirmed"),
    ]  # fmt: skip
    figure.legend(handles=handles, loc="outside lower center", ncols=3)
    return figure


def _draw(axes: Axes, pick: Pick, number: int, first: bool) -> None:
    hue = HUES[pick.hand]
    axes.errorbar(
        pick.time,
        100.0 * pick.chance,
        yerr=[
            [100.0 * max(pick.chance - pick.low, 0.0)],
            [100.0 * max(pick.high - pick.chance, 0.0)],
        ],
        color=hue,
        marker=MARKS[pick.hand],
        markersize=9 if first else 6,
        markerfacecolor=hue if pick.benches else "white",
        capsize=3,
        zorder=3,
    )
    axes.annotate(
        str(number),
        (pick.time, 100.0 * pick.chance),
        xytext=(9, -3),
        textcoords="offset points",
        bbox={"facecolor": axes.get_facecolor(), "edgecolor": "none", "pad": 0.8},
        zorder=4,
    )
