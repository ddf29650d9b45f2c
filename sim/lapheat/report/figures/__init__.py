"""Pictures of a run; nothing outside this folder imports matplotlib."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.image import imsave

from ...history.records import History
from .current import current
from .histories import histories
from .peaks import peaks
from .schedule import schedule
from .section import section
from .style import DPI, styled

# Matplotlib's canvases carry no types: hence `no-untyped-call` below.

__all__ = [
    "FIGURES",
    "current",
    "figures_of",
    "histories",
    "peaks",
    "save_figures",
    "schedule",
    "section",
    "write_figure",
    "write_png",
]

FIGURES: dict[str, Callable[[History], Figure]] = {
    "peaks": peaks,
    "histories": histories,
    "section": section,
    "schedule": schedule,
}


def figures_of(history: History) -> dict[str, Callable[[History], Figure]]:
    """Return what is drawn of a run, by the file's name: with a pedal its current too."""
    pedal = history.case.arc.pedal is not None
    return FIGURES | ({"current": current} if pedal else {})


def write_png(figure: Figure, path: Path) -> None:
    """Write a figure as PNG, the same bytes each time."""
    # `Figure.savefig` would draw twice, the first time only to lay out
    canvas = FigureCanvasAgg(figure)
    canvas.draw()  # type: ignore[no-untyped-call]
    pixels = np.asarray(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
    options = {"compress_level": 3}  # half the time of the usual 6, files a little larger
    imsave(path, pixels, dpi=DPI, metadata={"Software": ""}, pil_kwargs=options)


def write_figure(figure: Figure, path: Path) -> tuple[Path, Path]:
    """Write a figure as PNG and, beside it, as SVG, the same bytes each time.

    The text of the SVG stays text.

    Parameters
    ----------
    figure : laid out by its own engine
    path : of the PNG

    Returns
    -------
    paths : of the PNG and of the SVG
    """
    write_png(figure, path)
    dpi, beside = figure.dpi, path.with_suffix(".svg")
    figure.set_layout_engine("none")  # the layout of the PNG stays
    # without a salt of their own, names inside the file are new each time
    with matplotlib.rc_context({"svg.fonttype": "none", "svg.hashsalt": "lapheat"}):
        # `Figure.savefig` would draw twice here too
        FigureCanvasSVG(figure).print_svg(beside, metadata={"Date": None})  # type: ignore[no-untyped-call]
    figure.dpi = dpi  # an SVG counts in points
    return path, beside


def save_figures(history: History, folder: Path) -> tuple[Path, ...]:
    """Draw every figure of a run and write it as PNG and SVG.

    Parameters
    ----------
    history : the run
    folder : where to write; made if missing

    Returns
    -------
    paths : two a figure, in the order of `figures_of`

    Raises
    ------
    OSError
        The folder or a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths: list[Path] = []
    for name, draw in figures_of(history).items():
        with styled(), warnings.catch_warnings():
            # A name in a script the font lacks is drawn as boxes; that is no fault of the run.
            warnings.filterwarnings("ignore", message="Glyph")
            paths += write_figure(draw(history), folder / f"{name}.png")
    return tuple(paths)
