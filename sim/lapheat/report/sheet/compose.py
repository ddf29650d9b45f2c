"""The sheet laid out: what stands where on the page."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from pathlib import Path

import matplotlib
import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure
from matplotlib.image import imsave

from ...history.records import History
from ...outcomes.outcomes import Outcomes
from ..figures.style import RC
from ..sentences import CAUTIONS
from ..studied import chance_of
from .joint import draw_joint
from .page import DPI, LEAD, MM, SIZE, Page, cut, width_of, wrapped
from .ring import draw_ring
from .values import Values
from .words import COLUMNS, Setting, Words, words_of

# Matplotlib's canvases carry no types: hence `no-untyped-call` below.

__all__ = ["PAPERS", "save_sheet", "sheet"]

PAPERS = {"sheet": (210.0 * MM, 297.0 * MM), "sheet-letter": (8.5 * 72.0, 11.0 * 72.0)}
MARGIN = 10.0 * MM
GAP = 9.0  # [pt] between blocks
HEAD = 10.5  # [pt] of headings
BIG = 12.0  # [pt] of what is set
LEAST = 150.0  # [pt] least height of a drawing, but for a few notes
NOTES = 3  # lines there are of what was assumed, at least
MORE = "The rest is in report.html."
OPTIONS = {
    "pdf.fonttype": 3,  # its text can be searched too, and it takes a third of the time of 42
    "hatch.linewidth": 0.5,
    "text.hinting": "none",  # the PNG breaks no line that the PDF does not
}


def sheet(history: History, outcomes: Outcomes, day: str, paper: str = "sheet") -> Figure:
    """Lay out the sheet of a run.

    Parameters
    ----------
    history, outcomes : the run
    day : on which it is made
    paper : a name of `PAPERS`
    """
    case = history.case
    page, values = Page(*PAPERS[paper]), Values(case)
    left, width = MARGIN, page.width - 2.0 * MARGIN
    joint, ring = 0.46 * width - GAP, 0.42 * width - GAP
    # Drawings say their values when they are drawn; where they go depends on the words.
    for key in _DRAWN:
        if key in values:
            values(key)
    words = words_of(history, outcomes, values, day, chance_of(case))

    top = _heading(page, words, left, width)
    beside = width - joint - 2.0 * GAP, width - ring - 2.0 * GAP
    settings = max(_settings_height(words.settings, beside[0]), LEAST)
    bottom = _foot(page, words, left, width, page.height - MARGIN - top - settings - LEAST - GAP)
    room = bottom - top - GAP
    listed = _listed_height(words, beside[1])
    first = max(min(settings + 0.5 * max(room - settings - listed, 0.0), room - LEAST), settings)
    draw_joint(page, case, values, left, top, joint, first)
    _settings(page, words, left + joint + 2.0 * GAP, top, beside[0], first)
    top += first + GAP
    draw_ring(page, history, left, top, ring, bottom - top)
    _laying(page, words, left + ring + 2.0 * GAP, top, beside[1], bottom - top)
    return page.figure


_DRAWN = (
    *("tube.alloy", "tube.outside_diameter", "tube.wall", "tube.length"),
    *("flange.alloy", "flange.thickness", "flange.outside_diameter", "lap.depth"),
    *("lap.clearance", "fillet.leg", "arc.work_angle", "arc.aim"),
    "fixture.chill_alloy",
)


def _heading(page: Page, words: Words, left: float, width: float) -> float:
    """Write title, day and verdict; return where they end."""
    day = f"Bench sheet, {words.day}"
    page.text(left + width, MARGIN + 12.0, day, align="right")
    title = cut(words.title, width - width_of(day) - 12.0, 15.0, bold=True)
    page.text(left, MARGIN + 12.0, title, 15.0, bold=True)
    top = MARGIN + 20.0
    lines = [line for text in words.verdict for line in wrapped(text, width - 12.0)]
    if len(lines) > 8:
        lines = [*lines[:7], MORE]
    lines += wrapped(words.chance, width - 12.0)
    height = 17.0 + len(lines) * LEAD * SIZE + 5.0
    page.box(left, top, width, height, 1.6)
    page.text(left + 6.0, top + 14.0, f"Verdict: {words.answer}", BIG, bold=True)
    page.lines(left + 6.0, top + 18.0, lines)
    return top + height + GAP


def _foot(page: Page, words: Words, left: float, width: float, room: float) -> float:
    """Write cautions, assumptions and origin at the bottom; return where they begin."""
    half = 0.5 * (width - GAP)
    footer = wrapped(words.footer, width)
    told = [line for text in CAUTIONS for line in wrapped(f"• {text}", half, hang="  ")]
    rows = -(-len(told) // 2)
    taken = (len(footer) + rows) * LEAD * SIZE + 2.0 * LEAD * HEAD + 2.0 * GAP
    most = max(int((room - taken) / (LEAD * SIZE)), NOTES)
    also = [f"Set besides: {'; '.join(words.also)}."] if words.also else []
    notes = [
        line for text in (*words.assumed, *also) for line in wrapped(f"• {text}", width, hang="  ")
    ]
    notes = _fitting(notes, most)
    top = page.height - MARGIN - taken - len(notes) * LEAD * SIZE
    if not notes:
        top += LEAD * HEAD
    begin = top
    if notes:
        top = page.lines(left, top, ["Assumed"], HEAD, bold=True)
        top = page.lines(left, top, notes)
    top = page.lines(left, top + 0.5 * GAP, ["Cautions"], HEAD, bold=True)
    page.lines(left + half + GAP, top, told[rows:])
    top = page.lines(left, top, told[:rows]) + 0.6 * GAP
    page.path([(left, top), (left + width, top)], 0.6)
    page.lines(left, page.height - MARGIN - len(footer) * LEAD * SIZE, footer)
    return begin - 0.5 * GAP


def _lines_of(setting: Setting, width: float) -> tuple[list[str], float]:
    """Lines of what belongs to a setting, the first beside its value; where that begins."""
    beside = 52.0 + width_of(setting.value, BIG, bold=True) + 6.0
    words, first = setting.more.split(" "), ""
    while words and width_of(f"{first} {words[0]}".strip()) <= width - beside:
        first = f"{first} {words.pop(0)}".strip()
    rest = wrapped(" ".join(words), width - 52.0) if words else []
    return [first, *rest], beside


def _settings_height(settings: tuple[Setting, ...], width: float) -> float:
    rows = sum(len(_lines_of(setting, width)[0]) - 1 for setting in settings)
    return LEAD * HEAD + len(settings) * (LEAD * BIG + 2.0) + rows * LEAD * SIZE


def _settings(
    page: Page, words: Words, left: float, top: float, width: float, height: float
) -> None:
    """Write what to set, spread over the height."""
    settings = words.settings
    air = max(height - _settings_height(settings, width), 0.0) / max(len(settings), 1)
    air = min(air, 6.0)
    top = page.lines(left, top, [words.heading], HEAD, bold=True)
    for setting in settings:
        lines, beside = _lines_of(setting, width)
        base = top + 0.85 * BIG
        page.text(left, base, setting.name)
        page.text(left + 52.0, base, setting.value, BIG, bold=True)
        page.text(left + beside, base, lines[0])
        top = page.lines(left + 52.0, top + LEAD * BIG, lines[1:]) + 2.0 + air


GROUPS = 2  # of columns in the list of segments
ORDER = 4  # lines of the order, at most


def _order(words: Words, width: float) -> list[str]:
    lines = wrapped(words.order, width)
    return lines if len(lines) <= ORDER else [*lines[: ORDER - 1], MORE]


def _listed_height(words: Words, width: float) -> float:
    watch = sum(len(wrapped(f"• {text}", width)) for text in words.watch)
    rows = 1 + -(-len(words.rows) // GROUPS)
    heads = 2 if watch else 1
    return (len(_order(words, width)) + rows + watch) * LEAD * SIZE + heads * (LEAD * HEAD + 4.0)


def _laying(page: Page, words: Words, left: float, top: float, width: float, height: float) -> None:
    """Write the order of laying and what to watch for."""
    bottom = top + height
    watch = [line for text in words.watch for line in wrapped(f"• {text}", width, hang="  ")]
    top = page.lines(left, top, ["Lay"], HEAD, bold=True)
    top = page.lines(left, top, _order(words, width))
    # what does not fit is left out, of the list of segments first
    room = int((bottom - top - LEAD * HEAD - 4.0) / (LEAD * SIZE)) - 1
    most = max(room - len(watch), room // 2, 1)
    rows = list(words.rows)
    high = min(-(-len(rows) // GROUPS), most)
    shown = rows if len(rows) <= GROUPS * high else rows[: GROUPS * (high - 1)]
    if len(shown) < len(rows):
        high -= 1
    group = width / GROUPS
    places = (0.0, 0.17, 0.36, 0.60)
    for g in range(GROUPS if len(shown) > high else 1):
        page.text(left + g * group, top + 0.8 * SIZE, COLUMNS[0])
        for share, head in zip(places[1:], COLUMNS[1:], strict=True):
            page.text(left + (g + share) * group, top + 0.8 * SIZE, head)
        for number, row in enumerate(shown[g * high : (g + 1) * high], start=1):
            for share, value in zip(places, row, strict=True):
                y = top + number * LEAD * SIZE + 0.8 * SIZE
                page.text(left + (g + share) * group, y, value, bold=share == 0.0)
    top += (1 + high) * LEAD * SIZE
    if len(shown) < len(rows):
        top = page.lines(left, top, [f"{len(rows) - len(shown)} more. {MORE}"])
    if not watch:
        return
    top = page.lines(left, top + 4.0, ["Watch for"], HEAD, bold=True)
    room = int((bottom - top) / (LEAD * SIZE) + 0.01)
    page.lines(left, top, _fitting(watch, room))


def save_sheet(history: History, outcomes: Outcomes, folder: Path, day: str) -> tuple[Path, ...]:
    """Write the sheet as PDF on A4 and on US letter, and the first as PNG, the same bytes each day.

    Parameters
    ----------
    history, outcomes : the run
    folder : where to
    day : on which it is made

    Returns
    -------
    paths : of the files

    Raises
    ------
    OSError
        A file cannot be written.
    """
    paths = []
    # `rc_context` takes any mapping
    with matplotlib.rc_context(RC | OPTIONS), warnings.catch_warnings():  # type: ignore[arg-type]
        # A name in a script the font lacks is drawn as boxes; that is no fault of the run.
        warnings.filterwarnings("ignore", message="Glyph")
        for paper in PAPERS:
            figure = sheet(history, outcomes, day, paper)
            paths.append(folder / f"{paper}.pdf")
            metadata = {"Title": history.case.title, "CreationDate": None, "Producer": None}
            FigureCanvasPdf(figure).print_pdf(paths[-1], metadata=metadata)  # type: ignore[no-untyped-call]
            if paper == "sheet":
                figure.dpi = DPI  # the PDF counts in points
                canvas = FigureCanvasAgg(figure)
                canvas.draw()  # type: ignore[no-untyped-call]
                grey = np.asarray(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
                paths.append(folder / "sheet.png")
                options = {"compress_level": 3}
                imsave(paths[-1], grey, dpi=DPI, metadata={"Software": ""}, pil_kwargs=options)
    return tuple(paths)


def _fitting(lines: Sequence[str], most: int) -> list[str]:
    """Whole points of a list, in at most so many lines; the last then says that there is more."""
    if len(lines) <= most:
        return list(lines)
    ends = [i for i in range(1, most) if lines[i].startswith("•")]
    return [*lines[: max(ends, default=most - 1)], MORE]
