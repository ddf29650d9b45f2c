"""A page to write and draw on in points from its upper left corner, black on white."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Literal

from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont, get_font
from matplotlib.ft2font import LoadFlags
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, Polygon, Rectangle

__all__ = ["BOUND", "INK", "LEAD", "MM", "SIZE", "Page", "cut", "width_of", "wrapped"]

MM = 72.0 / 25.4  # points
INK = "black"
BOUND = "\u00a0"  # a space at which no line breaks
SIZE = 9.0  # [pt] no letter is smaller
LEAD = 1.19  # of a letter's size, from line to line
DPI = 150
SAFE = 1.02  # screens round letters to whole pixels
ASCENT, DESCENT = 0.80, 0.24  # of a letter's size


@cache
def _advance(letter: str, bold: bool) -> float:
    """Width of a letter of size 1."""
    weight = "bold" if bold else "normal"
    font = get_font(findfont(FontProperties(family="DejaVu Sans", weight=weight)))
    font.set_size(100.0, 72.0)
    glyph = font.load_char(ord(letter), flags=LoadFlags.NO_HINTING)
    return float(glyph.linearHoriAdvance) / 65536.0 / 100.0


def width_of(text: str, size: float = SIZE, bold: bool = False) -> float:
    """Width of a line of text [pt]."""
    return SAFE * size * sum(_advance(letter, bold) for letter in text)


def cut(text: str, width: float, size: float = SIZE, bold: bool = False) -> str:
    """Shorten a line that would be wider than `width` [pt], with an ellipsis."""
    if width_of(text, size, bold) <= width:
        return text
    while text and width_of(f"{text}…", size, bold) > width:
        text = text[:-1].rstrip()
    return f"{text}…"


def wrapped(
    text: str, width: float, size: float = SIZE, bold: bool = False, hang: str = ""
) -> list[str]:
    """Break a text into lines no wider than `width` [pt]; all but the first begin with `hang`."""
    lines, line = [], ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if line and width_of(longer, size, bold) > width:
            lines.append(line)
            longer = hang + word
        line = cut(longer, width, size, bold)
    return [*lines, line]


class Page:
    """A sheet of paper of `width` by `height` [pt].

    Attributes
    ----------
    figure : what it becomes
    width, height : [pt]
    """

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.figure = Figure(figsize=(width / 72.0, height / 72.0), dpi=DPI)
        FigureCanvasAgg(self.figure)
        self._axes = self.figure.add_axes((0.0, 0.0, 1.0, 1.0))
        self._axes.set_axis_off()
        self._axes.set_xlim(0.0, width)
        self._axes.set_ylim(height, 0.0)
        self._clip: Rectangle | None = None

    @contextmanager
    def clipped(self, left: float, top: float, right: float, bottom: float) -> Iterator[None]:
        """Cut off what is drawn outside a frame."""
        frame = (left, top), right - left, bottom - top
        self._clip = Rectangle(*frame, transform=self._axes.transData)
        yield
        self._clip = None

    def _add(self, drawn: Artist) -> None:
        self._axes.add_artist(drawn)
        if self._clip is not None:
            drawn.set_clip_path(self._clip)

    def text(
        self,
        x: float,
        y: float,
        text: str,
        size: float = SIZE,
        bold: bool = False,
        align: str = "left",
        colour: str = INK,
    ) -> None:
        """Write a line whose letters stand on `y`."""
        self._axes.text(
            x,
            y,
            text.replace(BOUND, " "),
            size=size,
            weight="bold" if bold else "normal",
            ha=align,
            va="baseline",
            color=colour,
        )

    def lines(
        self, x: float, top: float, lines: Sequence[str], size: float = SIZE, bold: bool = False
    ) -> float:
        """Write lines below `top`; return where they end."""
        for number, line in enumerate(lines):
            self.text(x, top + number * LEAD * size + ASCENT * size, line, size, bold)
        return top + len(lines) * LEAD * size

    def path(
        self,
        points: Sequence[tuple[float, float]],
        width: float = 0.8,
        dash: Literal["-", "-."] = "-",
        colour: str = INK,
    ) -> None:
        """Draw a line through points."""
        x, y = zip(*points, strict=True)
        self._add(
            Line2D(x, y, color=colour, linewidth=width, linestyle=dash, solid_joinstyle="miter")
        )

    def shape(
        self,
        points: Sequence[tuple[float, float]],
        fill: str = "none",
        hatch: str = "",
        edge: float = 0.8,
    ) -> None:
        """Draw a closed shape; its rim is `edge` [pt] wide, 0 for none."""
        if hatch:
            self._add(Polygon(points, facecolor=fill, edgecolor="0.55", hatch=hatch, linewidth=0.0))
            fill = "none"
        self._add(Polygon(points, facecolor=fill, edgecolor=INK, linewidth=edge))

    def box(self, x: float, top: float, width: float, height: float, edge: float = 1.0) -> None:
        """Draw a frame."""
        self._add(Rectangle((x, top), width, height, fill=False, edgecolor=INK, linewidth=edge))

    def dot(self, at: tuple[float, float]) -> None:
        """Draw a dot."""
        self._add(Circle(at, 1.3, facecolor=INK, edgecolor="none"))

    def arrow(self, tail: tuple[float, float], tip: tuple[float, float], size: float = 5.0) -> None:
        """Draw the head of an arrow that comes from `tail`."""
        x, y = tip[0] - tail[0], tip[1] - tail[1]
        far = max((x * x + y * y) ** 0.5, 1e-9)
        x, y = x / far * size, y / far * size
        back = tip[0] - x, tip[1] - y
        self.shape(
            [
                tip,
                (back[0] - 0.35 * y, back[1] + 0.35 * x),
                (back[0] + 0.35 * y, back[1] - 0.35 * x),
            ],
            fill=INK,
            edge=0.0,
        )

    def measure(self, one: tuple[float, float], other: tuple[float, float]) -> None:
        """Draw a dimension line, heads inside where there is room, else outside."""
        span = ((one[0] - other[0]) ** 2 + (one[1] - other[1]) ** 2) ** 0.5
        self.path([one, other], 0.6)
        if span > 9.0:
            self.arrow(other, one, 4.0)
            self.arrow(one, other, 4.0)
            return
        x, y = (other[0] - one[0]) / max(span, 1e-9), (other[1] - one[1]) / max(span, 1e-9)
        for tip, way in ((one, -1.0), (other, 1.0)):
            tail = tip[0] + way * 8.0 * x, tip[1] + way * 8.0 * y
            self.path([tail, tip], 0.6)
            self.arrow(tail, tip, 4.0)
