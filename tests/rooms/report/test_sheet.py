"""The bench sheet: what it says, and that nothing collides, is cut or is too small to read."""

from __future__ import annotations

import re
import zlib
from dataclasses import replace
from functools import cache
from itertools import combinations
from math import pi
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.image import imread

from lapheat.case.case import Case, Chill, Display, Fixture, Tack
from lapheat.case.file import read_case, read_case_text
from lapheat.history.records import History
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Outcomes
from lapheat.report.figures.style import RC
from lapheat.report.sentences import CAUTIONS
from lapheat.report.sheet import PAPERS, save_sheet, sheet
from support.runs import run_with
from support.synthetic import PROBES, make_case

ROOT = Path(__file__).parents[3]
DAY = "2026-11-28"


def _crowded() -> tuple[History, Outcomes]:
    """A run of forty segments, many probes, tacks, a chill, long names and much that fails."""
    many = tuple(replace(PROBES[0], name=f"a long name {n}", angle=0.1 * n) for n in range(12))
    run = run_with(1800.0, 1700.0, tube_dry=((0.0, 200.0, 1200.0),), flange_dry=((9.0, 99.0, 900.0),))
    case, outcomes = run.case, outcomes_of(run)
    chill = Chill("copper", 20e-3, 6e-3, 1000.0)
    alloys = {**case.alloys, "copper": case.alloys["304L"]}
    assumed = tuple(f"Sentence {n} of what was taken for granted, at some length." for n in range(20))
    case = replace(
        case,
        title="A title that is far too long for its line and goes on and on " * 3,
        probes=many,
        tacks=(Tack(0.5, 4e-3), Tack(2.5, 4e-3)),
        fixture=Fixture(chill),
        alloys=alloys,
        assumed=assumed,
    )
    runs = tuple(
        replace(run.segments[n % 8], number=n + 1, from_angle=n * pi / 20, to_angle=(n + 1) * pi / 20)
        for n in range(40)
    )
    travel = replace(case.travel, segment=case.tube.circumference / 40)
    return replace(run, case=replace(case, travel=travel), segments=runs), outcomes


def _joint(**parts: dict[str, float]) -> History:
    """Return a run whose case has other sizes: `tube={"wall": 1e-3}`."""
    case = run_with().case
    changed = {name: replace(getattr(case, name), **sizes) for name, sizes in parts.items()}
    return run_with(case=changed)


VARIANTS = {
    "demo": lambda: run_with(),
    "inches": lambda: run_with(display=Display("in", "degF")),
    "bead": lambda: run_with(bead=True, coverage=0.6),
    "fails": lambda: run_with(1800.0, 1700.0, tube_dry=((0.0, 200.0, 1200.0),)),
    "crowded": _crowded,
    "thick": lambda: _joint(
        tube={"wall": 6e-3}, flange={"thickness": 40e-3}, lap={"depth": 5e-3}, fillet={"leg": 12e-3}
    ),
    "fine": lambda: _joint(
        tube={"wall": 0.3e-3}, flange={"thickness": 0.5e-3}, lap={"depth": 0.5e-3}, fillet={"leg": 0.6e-3}
    ),
    "aimed out": lambda: _joint(arc={"aim": 6e-3, "work_angle": 0.2}),
    "aimed in": lambda: _joint(arc={"aim": -2e-3, "work_angle": 1.4, "length": 2e-3}),
}


@cache
def drawn(variant: str, paper: str = "sheet") -> tuple[History, Figure]:
    made = VARIANTS[variant]()
    history, outcomes = made if isinstance(made, tuple) else (made, outcomes_of(made))
    with matplotlib.rc_context(RC):
        figure = sheet(history, outcomes, DAY, paper)
        figure.canvas.draw()
    return history, figure


def texts(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.axes[0].texts if text.get_text()]


def told(variant: str) -> str:
    return " ".join(texts(drawn(variant)[1]))


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("variant", VARIANTS)
def test_no_text_is_small_or_cut_or_covers_another(variant: str, paper: str) -> None:
    _, figure = drawn(variant, paper)
    shown = [text for text in figure.axes[0].texts if text.get_text()]
    assert min(text.get_fontsize() for text in shown) >= 9.0
    margin = figure.dpi * 9.5 / 25.4
    width, height = figure.bbox.size
    boxes = {text: text.get_window_extent().padded(-1.0) for text in shown}
    for text, box in boxes.items():
        inside = box.x0 > margin and box.y0 > margin and box.x1 < width - margin
        assert inside and box.y1 < height - margin, f"{text.get_text()!r} is cut: {box}"
    for (one, a), (other, b) in combinations(boxes.items(), 2):
        assert not a.overlaps(b), f"{one.get_text()!r} covers {other.get_text()!r}"


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_caution_is_there_in_full(variant: str) -> None:
    words = told(variant).replace("  ", " ")
    for caution in CAUTIONS:
        assert all(word in words for word in caution.split())
    assert words.count("•") >= len(CAUTIONS)
