"""One look for every figure: palette, temperature map, the user's units, small drawing helpers."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from math import ceil, floor, isfinite, nan

import matplotlib
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import LinearSegmentedColormap, Normalize
from matplotlib.figure import Figure
from matplotlib.patheffects import AbstractPathEffect, Normal, Stroke
from matplotlib.transforms import ScaledTranslation, Transform
from numpy.typing import NDArray

from ...case.case import Case
from ...constants import ZERO_CELSIUS
from ...history.records import History

__all__ = [
    "ARC",
    "DPI",
    "FLOW",
    "INK",
    "LINES",
    "MUTED",
    "SOLIDUS",
    "TEMPERATURE",
    "WARM",
    "Levels",
    "Units",
    "envelope",
    "halo",
    "levels_of",
    "new_figure",
    "scale",
    "settle",
    "short",
    "spaced",
    "styled",
]

Array = NDArray[np.float64]

DPI = 110
INK = "#1f2328"
MUTED = "#6a7178"
ARC = "#d9dee3"  # behind everything while the arc is on
FLOW = "#0067a5"  # filler liquidus, drawn solid
SOLIDUS = "#000000"  # base solidus, drawn dashed
# Hues of Okabe and Ito (2008), distinct to the colour-blind; yellow and black left out.
LINES = ("#d55e00", "#009e73", "#56b4e9", "#cc79a7", "#e69f00", "#0072b2")
# Lightness climbs steadily from end to end, so the map also reads in grey.
WARM = ("#1d1b3b", "#472a66", "#7f3573", "#b94563", "#e2643f", "#f4973a", "#fac95f", "#fdf6c9")
TEMPERATURE = LinearSegmentedColormap.from_list("lapheat-temperature", WARM)

RC = {
    "font.family": "DejaVu Sans",
    "font.size": 8.5,
    "axes.titlesize": 9.5,
    "axes.titleweight": "bold",
    "axes.titlelocation": "left",
    "axes.titlepad": 5.0,
    "axes.labelcolor": INK,
    "axes.edgecolor": MUTED,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.axisbelow": True,
    "grid.color": "#e6e9ec",
    "grid.linewidth": 0.6,
    "legend.fontsize": 8.0,
    "legend.frameon": False,
    "text.color": INK,
    "text.parse_math": False,  # names are the user's: a dollar sign is a dollar sign
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "lines.linewidth": 1.2,
    "hatch.linewidth": 0.6,
    "path.simplify_threshold": 0.3,
}


def styled() -> AbstractContextManager[None]:
    """Return a context in which everything is drawn in this style."""
    return matplotlib.rc_context(RC)  # type: ignore[arg-type]  # it takes any mapping


def new_figure(width: float, height: float) -> Figure:
    """Return an empty figure of this size [inch] on an off-screen canvas."""
    figure = Figure(figsize=(width, height), dpi=DPI, layout="constrained")
    FigureCanvasAgg(figure)
    figure.get_layout_engine().set(w_pad=0.08, h_pad=0.06)  # type: ignore[union-attr, call-arg]
    return figure


@dataclass(frozen=True)
class Units:
    """The user's units: `length` is "mm" or "in", `temperature` is "degC" or "degF"."""

    length: str
    temperature: str

    @classmethod
    def of(cls, case: Case) -> Units:
        """Take the units the case was written in."""
        return cls(case.display.length, case.display.temperature)

    @property
    def degree(self) -> str:
        """Sign of the temperature scale."""
        return "°F" if self.temperature == "degF" else "°C"

    def long(self, metres: Array) -> Array:
        """Convert lengths from [m]."""
        return np.asarray(metres) / (0.0254 if self.length == "in" else 1e-3)

    def hot(self, kelvin: Array) -> Array:
        """Convert temperatures from [K]."""
        celsius = np.asarray(kelvin) - ZERO_CELSIUS
        return celsius * 1.8 + 32.0 if self.temperature == "degF" else celsius

    def temperature_text(self, kelvin: float) -> str:
        """Write a temperature given in [K], such as "1289 °C"."""
        return f"{float(self.hot(np.asarray(kelvin))):.0f} {self.degree}"

    def margin_text(self, margin: float) -> str:
        """Say what solidus minus peak, given in [K], means: "stays 111 K below its solidus"."""
        size = abs(margin) * (1.8 if self.temperature == "degF" else 1.0)
        told = f"{size:.0f} {'°F' if self.temperature == 'degF' else 'K'}"
        return (
            f"stays {told} below its solidus"
            if margin >= 0.0
            else (f"melts, {told} above its solidus")
        )


@dataclass(frozen=True)
class Levels:
    """Temperatures that decide [K]; nan where there is none (no filler, no flange, no melting)."""

    flow: float
    tube: float
    flange: float

    def solidus(self, part: str) -> float:
        """Return the solidus of "tube" or "flange" [K]."""
        return self.flange if part == "flange" else self.tube


def _known(kelvin: float | None) -> float:
    return nan if kelvin is None else kelvin


def levels_of(history: History) -> Levels:
    """Collect filler flow and base solidus of a run."""
    case = history.case
    return Levels(
        flow=case.brazed.filler.flow if case.brazed else nan,
        tube=_known(case.alloys[case.tube.alloy].solidus),
        flange=_known(case.alloys[case.flange.alloy].solidus) if case.flange else nan,
    )


def scale(low: float, high: float, levels: Levels, units: Units) -> Normalize:
    """Return the colour scale over `low` to `high` [K], opened up to the tube's solidus."""
    top = max(high, levels.tube) if isfinite(levels.tube) else high
    bottom = 100.0 * floor(float(units.hot(np.asarray(low))) / 100.0)
    return Normalize(bottom, max(float(units.hot(np.asarray(top))), bottom + 50.0))


def halo(colour: str, width: float) -> list[AbstractPathEffect]:
    """Return a rim that keeps a line or a text readable on any colour behind it."""
    return [Stroke(linewidth=width, foreground=colour), Normal()]


def short(text: str, limit: int = 22) -> str:
    """Cut a name that would not fit, with an ellipsis."""
    return text if len(text) <= limit else text[: limit - 1].rstrip() + "…"


def spaced(places: Sequence[float] | Array, gap: float) -> list[int]:
    """Return which of the labels at `places` can be shown when each needs `gap` (same unit)."""
    kept: list[int] = []
    for index in np.argsort(places, kind="stable"):
        if not kept or places[index] - places[kept[-1]] >= gap:
            kept.append(int(index))
    return kept


def envelope(time: Array, values: Array, bins: int = 1200) -> tuple[Array, Array]:
    """Thin a trace to what a screen can show, keeping the ends and each bin's extremes.

    Parameters
    ----------
    time, values : (n,) trace in order of time
    bins : number of bins of equally many steps

    Returns
    -------
    time, values : (k,) with k <= n
    """
    n = len(time)
    if n <= 4 * bins:
        return time, values
    width = ceil(n / bins)
    whole = n - n % width
    block = np.nan_to_num(values[:whole], nan=0.0).reshape(-1, width)
    first = np.arange(0, whole, width)
    keep = np.unique(
        np.concatenate([first + block.argmin(1), first + block.argmax(1), [0], range(whole, n)])
    )
    return time[keep], values[keep]


def settle(axes: Axes, title: str = "", right: bool = False) -> None:
    """Set the title and fix where title and axis labels are.

    Left to itself, matplotlib measures every tick label again for each of them, which takes half
    of the drawing time; fixed, the labels of stacked panels also line up.
    """
    figure = axes.get_figure(root=True)
    assert figure is not None
    axes.set_title(title, y=1.0)

    def moved(right: float, up: float) -> Transform:
        return axes.transAxes + ScaledTranslation(right / 72, up / 72, figure.dpi_scale_trans)

    axes.xaxis.set_label_coords(0.5, 0.0, transform=moved(0.0, -19.0))
    if right:
        axes.yaxis.set_label_coords(1.0, 0.5, transform=moved(44.0, 0.0))
    else:
        axes.yaxis.set_label_coords(0.0, 0.5, transform=moved(-33.0, 0.0))
    for spine in axes.spines.values():
        spine.set_in_layout(False)
