"""Pictures of a run; nothing outside this folder imports matplotlib."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.image import imsave

from ..history import History
from .histories import histories
from .peaks import peaks
from .schedule import schedule
from .section import section
from .style import DPI, styled

__all__ = ["FIGURES", "histories", "peaks", "save_figures", "schedule", "section", "write_png"]

FIGURES = {"peaks": peaks, "histories": histories, "section": section, "schedule": schedule}


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
    paths : one a figure, in the order of `FIGURES`

    Raises
    ------
    OSError
        The folder or a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for name, draw in FIGURES.items():
        path = folder / f"{name}.png"
        with styled(), warnings.catch_warnings():
            # A name in a script the font lacks is drawn as boxes; that is no fault of the run.
            warnings.filterwarnings("ignore", message="Glyph")
            write_png(draw(history), path)
        paths.append(path)
    return tuple(paths)
