"""Widths of beads: peak temperature beside each track, and where its edges were measured."""

from __future__ import annotations

from math import ceil

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from ....case.units import SPEED, in_unit
from ....report.figures.style import INK, LINES, MUTED, Units, new_figure, short, styled
from .fit import Caliper

__all__ = ["tracks"]

SIDES = {"outside": (LINES[5], "o"), "bore": (LINES[0], "s")}  # colour and marker of each surface
MOST = 9  # beads shown
POINTS = 200  # of a curve
WIDER = 1.3  # times the widest width that is shown


def tracks(found: Caliper) -> Figure:
    """Draw each bead's peaks off the middle of its track, before and after, with its edges.

    Parameters
    ----------
    found : the fit; its first nine beads are shown
    """
    count = min(len(found.after), MOST)
    columns = 2 if count in (2, 4) else min(count, 3)
    rows = ceil(count / columns)
    with styled():
        figure = new_figure(max(3.4 * columns, 5.4), 1.2 + 2.7 * rows)
        figure.suptitle(
            f"{short(found.case.title, 40)}: widths off by {1e3 * found.before_rms:.2f} mm before, "
            f"{1e3 * found.rms:.2f} mm after (root mean square)",
            fontsize=9.0,
        )
        grid = figure.subplots(rows, columns, squeeze=False, sharey=True)
        units = Units.of(found.case)
        for place, axes in enumerate(grid.flat):
            if place >= count:
                axes.set_axis_off()
                continue
            _track(axes, found, place, units)
            if place % columns == 0:
                axes.set_ylabel(f"peak ({units.degree})")
            if place + columns >= count:
                axes.set_xlabel(f"off the middle of the track ({units.length})")
        handles = [
            *(Line2D([], [], color=colour, label=side) for side, (colour, _) in SIDES.items()),
            Line2D([], [], color=MUTED, linestyle=(0, (4, 2)), label="computed before"),
            *(
                Line2D([], [], color=INK, marker=marker, linestyle="", label=f"measured, {side}")
                for side, (_, marker) in SIDES.items()
            ),
        ]
        for handle in handles[3:]:
            handle.set_markerfacecolor("white")
        figure.legend(handles=handles, loc="outside lower center", ncols=3)
    return figure


def _track(axes: Axes, found: Caliper, number: int, units: Units) -> None:
    beads, widths = found.beads, found.beads.widths
    half = 0.5 * WIDER * max(float(np.nanmax(widths)), 4.0 * found.reading)
    off = np.linspace(0.0, half, POINTS)
    sides = [side for side in SIDES if any(edge.side == side for edge in beads.edges)]
    for side in sides:
        colour, marker = SIDES[side]
        peaks = [
            units.hot(np.array([track[number].at(side, y)[0] for y in off.tolist()]))
            for track in (found.before, found.after)
        ]
        axes.plot(units.long(off), peaks[0], color=MUTED, dashes=(4, 2))
        axes.plot(units.long(off), peaks[1], color=colour)
        for n, (edge, level) in enumerate(zip(beads.edges, found.levels, strict=True)):
            width = widths[number, n]
            if edge.side == side and np.isfinite(width):
                axes.errorbar(
                    units.long(np.array([0.5 * width])),
                    units.hot(np.array([level.kelvin])),
                    xerr=units.long(np.array([found.reading])),  # two deviations of half a width
                    yerr=2.0 * float(units.hot(np.array(level.error)) - units.hot(np.array(0.0))),
                    color=INK,
                    marker=marker,
                    markersize=4.5,
                    markerfacecolor="white",
                    linewidth=1.0,
                )
    speed = in_unit(float(beads.speed[number]), SPEED, beads.speed_unit)
    axes.set_title(f"{number + 1}: {beads.current[number]:g} A, {speed:.3g} {beads.speed_unit}")
    axes.grid(True)
