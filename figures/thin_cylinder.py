"""Exact against computed: a test bead on a thin tube, segments and pauses.

Run with ``python figures/thin_cylinder.py``. Exact: moving Gaussian on the unrolled wall, closed by
images (Carslaw and Jaeger 1959, 10.3 and 10.10); computed: the whole program, standard detail.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from lapheat import simulate
from lapheat.report.figures.style import LINES, new_figure, styled

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests"))

from exact.test_bead import PLACES, bead_case, closed_form  # noqa: E402 (tests are no package)

SHOWN = ((45.0, 4.0), (135.0, -4.0), (225.0, 7.0), (135.0, 10.0))


def main() -> None:
    """Draw the comparison beside this file."""
    result = simulate(bead_case())
    trace = result.history.trace
    rise = trace.probes - result.case.surroundings.temperature
    time = np.linspace(0.5, trace.time[-1], 160)
    exact = closed_form(result, time)
    at_steps = closed_form(result, trace.time[1:])
    worst = np.abs(rise[1:] - at_steps).max(axis=0) / at_steps.max(axis=0)
    with styled():
        figure = new_figure(8.0, 4.6)
        axes = figure.subplots()
        for (angle, height), colour in zip(SHOWN, LINES, strict=False):
            i = PLACES.index((angle, height))
            axes.plot(time, exact[:, i], color=colour, lw=1.4)
            label = f"{angle:g} deg, {height:+g} mm"
            axes.plot(trace.time[::9], rise[::9, i], "o", ms=3.5, color=colour, label=label)
        axes.set_xlabel("time (s)")
        axes.set_ylabel("rise in the middle of the wall (K)")
        axes.set_title(
            f"Bead on a thin tube: lines exact, dots computed; worst {100.0 * worst.max():.1f} % "
            "of the rise"
        )
        axes.legend(title="angle, height above the arc line", frameon=False)
        figure.savefig(HERE / "thin-cylinder.png", dpi=110)


if __name__ == "__main__":
    main()
