"""Pictures of a run; nothing outside this folder imports matplotlib."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imsave

from ...history.records import History
from .current import current
from .histories import histories
from .peaks import peaks
from .schedule import schedule
from .section import section
from .style import DPI, styled

__all__ = [
    "FIGURES",
    "current",
    "figures_of",
    "histories",
    "peaks",
    "save_figures",
    "schedule",
    "section",
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


def save_figures(history: History, folder: Path) -> tuple[Path, ...]:
    """Draw every figure of a run and write it as PNG.

    Parameters
    ----------
    history : the run
    folder : where to write; made if missing

    Returns
    -------
    paths : one a figure, in the order of `figures_of`

    Raises
    ------
    OSError
        The folder or a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, draw in figures_of(history).items():
        path = folder / f"{name}.png"
        with styled(), warnings.catch_warnings():
            # A name in a script the font lacks is drawn as boxes; that is no fault of the run.
            warnings.filterwarnings("ignore", message="Glyph")
            write_png(draw(history), path)
        paths.append(path)
    return tuple(paths)
