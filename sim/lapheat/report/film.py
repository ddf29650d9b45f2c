"""A film of a run: the unrolled surfaces and the section under the arc, with clock and current.

It is an MP4 where the package imageio-ffmpeg and its encoder are installed; else a GIF.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import degrees, isfinite
from pathlib import Path
from shutil import which
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.cm import ScalarMappable
from matplotlib.collections import LineCollection, PolyCollection
from matplotlib.colors import Normalize, to_rgb
from matplotlib.image import AxesImage
from matplotlib.lines import Line2D
from numpy.typing import NDArray

from ..history.frames import FilmFrames
from ..history.records import History, SurfacePeaks
from ..joint.section import EdgeKind
from .figures.peaks import LEGS, stretch_of
from .figures.section import near_view, view_of
from .figures.style import (
    FLOW,
    INK,
    LINES,
    MUTED,
    SOLIDUS,
    TEMPERATURE,
    Array,
    Units,
    levels_of,
    new_figure,
    scale,
    settle,
    short,
    styled,
)
from .notebook import Count

# Matplotlib's canvases carry no types: hence `no-untyped-call` below.

__all__ = ["FILM_NAMES", "film_name", "save_film"]

Pixels = NDArray[np.uint8]

FILM_NAMES = ("film.mp4", "film.gif")
PERIOD = 80  # [ms] a frame
PANELS = ("tube outside", "flange face")
ACROSS, UP = 400, 130  # pixels of an unrolled surface, about as many as it has on the screen
# at both edges, so that it covers nothing of what is under the arc
MARK: dict[str, Any] = {
    "linestyle": "none",
    "marker": "d",
    "markersize": 8.0,
    "markerfacecolor": LINES[2],
    "markeredgecolor": INK,
}
DOTS = 96  # an inch
WIDTH, HEIGHT = 832 / DOTS, 544 / DOTS  # [inch]; whole blocks of 16 pixels, as encoders want


def film_name() -> str:
    """Name of the film that would be written here: an MP4 if there is an encoder, else a GIF."""
    try:
        from imageio_ffmpeg import get_ffmpeg_exe

        encoder = which(get_ffmpeg_exe())
    except (ImportError, RuntimeError):  # no package; no encoder in it
        encoder = None
    return FILM_NAMES[1] if encoder is None else FILM_NAMES[0]


def save_film(history: History, folder: Path, count: Count | None = None) -> Path:
    """Draw what `History.film` keeps and write it.

    Parameters
    ----------
    history : of a run that kept its film
    folder : where to write
    count : called with what is done, frames drawn and frames in all

    Returns
    -------
    path : `film.mp4` or `film.gif`

    Raises
    ------
    ValueError
        The run did not keep its film.
    OSError
        The file cannot be written.
    """
    if history.film is None:
        raise ValueError("the run did not keep its film: simulate(case, keep=['film'])")
    path = folder / film_name()
    frames = _counted(_Scene(history, history.film), len(history.film.time), count)
    if path.suffix == ".mp4":
        _write_mp4(frames, path)
    else:
        _write_gif(frames, path)
    return path


def _counted(scene: _Scene, frames: int, count: Count | None) -> Iterator[Pixels]:
    for index in range(frames):
        if count is not None:
            count("drawing the film", index, frames)
        yield scene.draw(index)


def _write_mp4(frames: Iterable[Pixels], path: Path) -> None:
    from imageio_ffmpeg import write_frames

    writer = None
    try:
        for pixels in frames:
            if writer is None:
                height, width = pixels.shape[:2]
                writer = write_frames(str(path), (width, height), fps=1000.0 / PERIOD, quality=6)
                writer.send(None)
            writer.send(np.ascontiguousarray(pixels))
    finally:
        if writer is not None:
            writer.close()  # ends the encoder


def _write_gif(frames: Iterable[Pixels], path: Path) -> None:
    from PIL import Image

    images = [Image.fromarray(pixels) for pixels in frames]
    # one palette for all, from four frames one above the other: the colours of a place never jump
    picked = [images[i] for i in np.linspace(0, len(images) - 1, 4).astype(int)]
    tall = Image.fromarray(np.concatenate([np.asarray(image) for image in picked]))
    palette = tall.quantize(128)
    first, *rest = [image.quantize(palette=palette, dither=Image.Dither.NONE) for image in images]
    first.save(path, save_all=True, append_images=rest, duration=PERIOD, loop=0)


class _Unrolled:
    """One surface as an image: its cells on a grid of pixels, so that a frame is one look-up."""

    def __init__(
        self, axes: Axes, history: History, surface: SurfacePeaks, units: Units, colours: _Colours
    ) -> None:
        case, levels = history.case, levels_of(history)
        air = case.surroundings.temperature
        leg = case.fillet.leg if case.fillet is not None else None
        reach = LEGS * (leg if leg is not None else 2.0 * case.arc.spot)
        low, high = stretch_of(surface, air, float(surface.peak.max()) - air, reach)
        at = low + (np.arange(UP) + 0.5) / UP * (high - low)
        row = np.searchsorted(surface.edges, at) - 1
        around = (np.arange(ACROSS) + 0.5) / ACROSS
        column = (around * len(surface.angle)).astype(int)
        self._pick = np.ix_(np.clip(row, 0, len(surface.position) - 1), column)
        self._colours = colours
        self._levels = (
            (levels.flow, to_rgb(FLOW)),
            (levels.solidus(surface.name.split()[0]), to_rgb(SOLIDUS)),
        )
        ends = self._ends = units.long(np.array([low, high]))
        self.image: AxesImage = axes.imshow(
            np.zeros((UP, ACROSS, 3)),
            extent=(0.0, 360.0, *ends),
            origin="lower",
            aspect="auto",
            interpolation="nearest",
            animated=True,
        )
        for end in (0.0, leg) if leg is not None else ():
            if low < end < high:
                axes.axhline(float(units.long(np.asarray(end))), color=MUTED, linewidth=0.6)
        (self.mark,) = axes.plot([], [], **MARK, clip_on=False, animated=True, zorder=5)
        along = "outward" if surface.name.startswith("flange") else "height"
        axes.set_ylabel(f"{along} ({units.length})")
        axes.set_xticks(np.arange(0.0, 361.0, 90.0))
        settle(axes, surface.name.capitalize())

    def show(self, kelvin: NDArray[np.float32], angle: float, arc: bool) -> tuple[Artist, ...]:
        """Put a frame in: (m, layers) temperatures [K], the arc's angle [rad], whether it burns."""
        seen = kelvin[self._pick]
        colours = self._colours.of(seen)
        for level, colour in self._levels:
            if isfinite(level):
                colours[_rim(seen > level)] = colour
        self.image.set_data(colours)
        at = degrees(angle) % 360.0
        self.mark.set_data([at, at], self._ends if arc else [np.nan, np.nan])
        return self.image, self.mark


def _rim(inside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Pixels on either side of a border between inside and outside."""
    rim = np.zeros_like(inside)
    up, across = inside[1:] != inside[:-1], inside[:, 1:] != inside[:, :-1]
    rim[1:] |= up
    rim[:-1] |= up
    rim[:, 1:] |= across
    rim[:, :-1] |= across
    return rim


class _Colours:
    """The colour of a temperature, from a table."""

    def __init__(self, norm: Normalize, units: Units) -> None:
        self._norm, self._units = norm, units
        self._table = np.asarray(TEMPERATURE(np.linspace(0.0, 1.0, 256)))[:, :3]

    def of(self, kelvin: NDArray[np.float32]) -> Array:
        """(..., 3) red, green and blue, 0 to 1."""
        share = np.asarray(self._norm(self._units.hot(kelvin.astype(np.float64))))
        return np.asarray(self._table[np.clip(share * 256.0, 0, 255).astype(int)])


class _Section:
    """The section in the layer at the arc's angle."""

    def __init__(self, axes: Axes, history: History, units: Units, colours: _Colours) -> None:
        joint, bead = history.problem.mesh.section, history.case.fillet is None
        view = units.long(np.array(view_of(history)))
        points = units.long(joint.vertices[:, ::-1] if bead else joint.vertices)
        self._near = near_view(points, joint.cells, view)
        self._colours = colours
        corners = [points[cell[cell >= 0]] for cell in joint.cells[self._near]]
        self.body = PolyCollection(corners, linewidths=0.0, antialiased=False, animated=True)
        axes.add_collection(self.body)
        edges = points[joint.edges[joint.edge_kind != EdgeKind.PLAIN]]
        self.lines = LineCollection(list(edges), colors=INK, linewidths=0.8, animated=True)
        axes.add_collection(self.lines)
        axes.set_aspect("equal", anchor="N")
        axes.set_xlim(view[0], view[1])
        axes.set_ylim(view[2], view[3])
        settle(axes, "Section at the arc")
        names = (f"radius ({units.length})", f"height ({units.length})")
        if bead:
            names = (f"along the tube ({units.length})", names[0])
        axes.set_xlabel(names[0])
        axes.set_ylabel(names[1])

    def show(self, kelvin: NDArray[np.float32], alive: NDArray[np.bool_]) -> tuple[Artist, ...]:
        """Put a frame in: temperatures of the section's cells [K], white where no filler is."""
        colours = self._colours.of(kelvin[self._near])
        colours[~alive[self._near]] = 1.0
        self.body.set_facecolor(colours)  # type: ignore[arg-type]  # an array is fine
        return self.body, self.lines


class _Scene:
    """All panels: what never changes is drawn once, a frame only draws what moves."""

    def __init__(self, history: History, film: FilmFrames) -> None:
        self._film, self._history = film, history
        units, levels = Units.of(history.case), levels_of(history)
        shown = [history.surfaces[name] for name in PANELS if name in history.surfaces]
        hottest = max(float(surface.peak.max()) for surface in shown)
        norm = scale(history.case.surroundings.temperature, hottest, levels, units)
        colours = _Colours(norm, units)
        with styled():
            figure = self._figure = new_figure(WIDTH, HEIGHT)
            figure.set_dpi(DOTS)
            figure.set_layout_engine("none")
            each = 0.54 / len(shown)
            maps = [
                figure.add_axes((0.08, 0.95 - (i + 1) * each, 0.40, each - 0.10))
                for i in range(len(shown))
            ]
            self._maps = {
                surface.name: _Unrolled(axes, history, surface, units, colours)
                for axes, surface in zip(maps, shown, strict=True)
            }
            maps[-1].set_xlabel("angle (deg)")
            section = figure.add_axes((0.57, 0.44, 0.41, 0.42))
            self._section = _Section(section, history, units, colours)
            self._hand = self._current(figure.add_axes((0.08, 0.13, 0.90, 0.08)))
            bar = figure.colorbar(
                ScalarMappable(norm, TEMPERATURE),
                cax=figure.add_axes((0.57, 0.315, 0.41, 0.018)),
                orientation="horizontal",
            )
            bar.set_label(f"temperature ({units.degree})")
            entries = self._entries(units)
            figure.legend(handles=entries, loc="lower center", ncols=len(entries), fontsize=8.0)
            figure.suptitle(
                short(history.case.title, 60), fontsize=9.5, fontweight="bold", x=0.02, ha="left"
            )
            self._clock = figure.text(
                0.985, 0.985, "", ha="right", va="top", fontsize=9.5, animated=True
            )
            self._canvas = FigureCanvasAgg(figure)
            self._canvas.draw()  # type: ignore[no-untyped-call]
            self._still = self._canvas.copy_from_bbox(figure.bbox)  # type: ignore[no-untyped-call]

    def _current(self, axes: Axes) -> Line2D:
        """Draw the current through time once, and return the line that moves along it."""
        trace, end = self._history.trace, self._history.total
        axes.fill_between(
            trace.time, trace.current, step="pre", color=LINES[0], alpha=0.5, linewidth=0
        )
        axes.set_xlim(0.0, max(end, 1e-3))
        axes.set_ylim(0.0, max(1.1 * float(trace.current.max()), 1.0))
        axes.set_ylabel("current (A)")
        axes.set_xlabel("time (s)")
        settle(axes)
        (line,) = axes.plot([], [], color=INK, linewidth=1.2, animated=True)
        return line

    def _entries(self, units: Units) -> list[Line2D]:
        """Legend: what the lines on the surfaces are."""
        levels = levels_of(self._history)
        told: list[tuple[str, str]] = []
        if isfinite(levels.flow):
            told.append((FLOW, f"hotter inside than filler flow, "
                         f"{units.temperature_text(levels.flow)}"))  # fmt: skip
        if isfinite(levels.tube) or isfinite(levels.flange):
            told.append((SOLIDUS, "hotter inside than solidus"))
        lines = [Line2D([], [], color=colour, label=label) for colour, label in told]
        return [*lines, Line2D([], [], **MARK, label="arc")]

    def draw(self, index: int) -> Pixels:
        """(height, width, 3) frame number `index`."""
        film, canvas = self._film, self._canvas
        time, current, angle = (float(a[index]) for a in (film.time, film.current, film.angle))
        arc = current > 0.0
        moved: list[Artist] = []
        for name, panel in self._maps.items():
            moved += panel.show(film.surfaces[name][index], angle, arc)
        moved += self._section.show(film.section[index], film.alive[index])
        self._hand.set_data([time, time], [0.0, 1e6])
        self._clock.set_text(self._words(index, time, current, angle))
        canvas.restore_region(self._still)  # type: ignore[no-untyped-call]
        for artist in (*moved, self._hand):
            artist.axes.draw_artist(artist)  # type: ignore[union-attr]
        self._figure.draw_artist(self._clock)
        return np.asarray(canvas.buffer_rgba())[..., :3].copy()  # type: ignore[no-untyped-call]

    def _words(self, index: int, time: float, current: float, angle: float) -> str:
        """Clock, what the hand does, where."""
        segment = int(self._film.segment[index])
        if current > 0.0:
            doing = f"segment {segment}" if segment else "tack"
            return f"{time:.1f} s   {doing}, {current:.0f} A at {degrees(angle) % 360.0:.0f} deg"
        return f"{time:.1f} s   {f'pause after segment {segment}' if segment else 'before the arc'}"
