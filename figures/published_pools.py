"""Published against computed: pool peaks on 1.5 mm 304 plate (Kraus 1987).

Run with ``python figures/published_pools.py``. Measured: peak surface temperature of the pool, 2000
to 2800 K over the three runs (abstract seen). Computed: over the published range of arc efficiency.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from lapheat.report.figures.style import LINES, new_figure, styled

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent / "tests"))

from published.beads import run  # noqa: E402 (tests are no package)
from published.test_pool import HIGH, LEAST, LOW, MOST, RUNS  # noqa: E402 (tests are no package)

ZERO = 273.15


def main() -> None:
    """Draw the comparison beside this file."""
    names = sorted(RUNS)
    shares = (LEAST, 0.75, MOST)

    def peak(name: str, share: float) -> float:
        return run(f"Kraus1987-{name}", f"arc.efficiency={share}").outcomes.tube.peak_C + ZERO

    peaks = np.array([[peak(name, share) for share in shares] for name in names])
    with styled():
        figure = new_figure(6.4, 4.6)
        axes = figure.subplots()
        axes.axhspan(LOW, HIGH, color=LINES[2], alpha=0.3, lw=0.0, label="measured, all three runs")
        for i, (low, middle, high) in enumerate(peaks):
            axes.plot([i, i], [low, high], color=LINES[0], lw=2.0)
            label = f"computed, efficiency {LEAST:g} to {MOST:g} (dot: 0.75)" if i == 0 else None
            axes.plot(i, middle, "o", color=LINES[0], label=label)
        told = "{current_A:g} A, {voltage_V:g} V\n{speed_mm_s:g} mm/s"
        axes.set_xticks(range(len(names)), [told.format_map(RUNS[n]) for n in names])
        axes.set_xlim(-0.5, len(names) - 0.5)
        axes.set_ylim(1500.0, 3300.0)
        axes.set_ylabel("peak of the pool's surface (K)")
        axes.set_title("Pools on 1.5 mm plate: conduction alone reads high")
        axes.legend(frameon=False, loc="lower right")
        figure.savefig(HERE / "published-pools.png", dpi=110)


if __name__ == "__main__":
    main()
