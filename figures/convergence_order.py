"""Order of convergence: the manufactured solution on the real revolved joint.

Run with ``python figures/convergence_order.py``. Temperature-dependent properties, film, radiation
and the lap's conductance are all on; cells and step are halved together.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from lapheat.report.figures.style import LINES, MUTED, new_figure, styled

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests"))

from exact.test_manufactured import coarse_lines, march, refined  # noqa: E402 (tests are no package)

NAMES = ("cells", "outer walls", "both sides of the lap")


def main() -> None:
    """Draw the errors beside this file."""
    with pytest.MonkeyPatch.context() as patch:
        coarse = coarse_lines(patch)
    times = np.array([1, 2, 4])
    errors = np.array([march(refined(coarse, int(n))) for n in times])
    with styled():
        figure = new_figure(6.4, 4.6)
        axes = figure.subplots()
        for column, name, colour in zip(errors.T, NAMES, LINES, strict=False):
            order = np.log2(column[-2] / column[-1])
            axes.loglog(times, column, "o-", color=colour, label=f"{name}: order {order:.2f}")
        axes.loglog(times, 2.0 * errors[0].max() / times**2, "--", color=MUTED, label="order 2")
        axes.set_xticks(times, [str(n) for n in times], minor=False)
        axes.minorticks_off()
        axes.yaxis.set_major_formatter("{x:g}")
        axes.set_xlabel("cells and steps, times those of the coarsest mesh")
        axes.set_ylabel("root of the mean square error (K)")
        axes.set_title("Halving cells and step divides the error by four")
        axes.legend(frameon=False)
        figure.savefig(HERE / "convergence-order.png", dpi=110)


if __name__ == "__main__":
    main()
