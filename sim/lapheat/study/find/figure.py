"""Chance of success against time: what was confirmed, and what else there is to choose from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.transforms import Bbox
from numpy.typing import NDArray

from ...outcomes.wording import listed
from ...report.figures.style import INK, LINES, MUTED, new_figure, short, styled
from .seek import Found
from .trying import Pick

__all__ = ["chances", "passed_over"]

MARKS = {"clock": "s", "flow": "^", "pedal": "o"}
WORDS = {"clock": "by the clock", "flow": "waits for flow", "pedal": "waits, with a pedal"}
BIG, SMALL, CAP = 9.0, 6.0, 3.0  # marks of the first and of the others, half an interval's end [pt]
# Where a number may stand from the middle of its mark [pt], the best first.
SHIFTS = [
    (side * reach, up)
    for reach in (11.0, 15.0, 0.0, 20.0)
    for up in (0.0, 9.0, -9.0, 14.0, -14.0, 20.0, -20.0, 28.0, -28.0)
    for side in (1.0, -1.0)
]
Array = NDArray[np.float64]
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
    for pick in found.picks:
        _draw(axes, pick, pick is found.picks[0])
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
    _number(figure, axes, found)
    return figure


def _draw(axes: Axes, pick: Pick, first: bool) -> None:
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
        markersize=BIG if first else SMALL,
        markerfacecolor=hue if pick.benches else "white",
        capsize=CAP,
        zorder=3,
    )


def _number(figure: Figure, axes: Axes, found: Found) -> None:
    """Write its number near each pick, where it covers nothing or as little as may be."""
    figure.draw_without_rendering()  # from here on it is known where everything lies
    point = figure.dpi / 72.0
    ends = [(100.0 * pick.low, 100.0 * pick.chance, 100.0 * pick.high) for pick in found.picks]
    # from left, low, mark, high [pixels]
    spans = np.array(
        [
            [axes.transData.transform((pick.time, y)) for y in three]
            for pick, three in zip(found.picks, ends, strict=True)
        ]
    )
    wanted = float(axes.transData.transform((0.0, 100.0 * found.plan.sure))[1])
    drawn = [Bbox.from_extents(axes.bbox.x0, wanted, axes.bbox.x1, wanted).padded(point)]
    for at, (low, mark, high) in enumerate(spans):
        drawn += [
            Bbox([mark, mark]).padded((0.5 * (SMALL if at else BIG) + 1.0) * point),
            Bbox([low, high]).padded(point),
            *(Bbox([end, end]).padded((CAP + 1.0) * point, point) for end in (low, high)),
        ]
    for at, (pick, (_, mark, _)) in enumerate(zip(found.picks, spans, strict=True)):
        text = axes.annotate(
            str(at + 1),
            (pick.time, 100.0 * pick.chance),
            textcoords="offset points",
            xytext=(0.0, 0.0),
            ha="center",
            va="center_baseline",
            zorder=4,
        )
        half = 0.5 * np.array(text.get_window_extent().size)
        middles = [mark + point * np.array(shift) for shift in SHIFTS]
        boxes = [Bbox([middle - half, middle + half]) for middle in middles]
        harms = [_harm(box, at, spans, drawn, axes.bbox) for box in boxes]
        best = harms.index(min(harms))  # the first of several
        text.set_position(SHIFTS[best])
        drawn.append(boxes[best].padded(4.0 * point))


def _harm(box: Bbox, own: int, spans: Array, drawn: Sequence[Bbox], plot: Bbox) -> float:
    """How bad a place for a number is.

    Parameters
    ----------
    box : the number there [pixels]
    own : place of its pick among all
    spans : (n, 3, 2) lowest, mark and highest of each pick
    drawn : what is not to be covered
    plot : what it may not leave

    Returns
    -------
    harm : area covered; more outside of the plot, and nearer to another pick than to its own
    """
    x, y = np.mean([box.min, box.max], axis=0)
    low, high = spans[:, 0, 1], spans[:, 2, 1]
    away = np.hypot(spans[:, 0, 0] - x, np.maximum(np.maximum(low - y, y - high), 0.0))
    covered = [Bbox.intersection(box, other) for other in drawn]
    return (
        sum(float(part.width * part.height) for part in covered if part is not None)
        + 10.0 * bool(away.min() < away[own] - 0.5)
        + 1e3 * (not (plot.contains(*box.min) and plot.contains(*box.max)))
    )
