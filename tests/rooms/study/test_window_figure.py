"""The picture of a window: its legend explains what is seen on it, and nothing else."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from lapheat.study.window.boundary import triangles_of
from lapheat.study.window.figure import WindowChart, WindowPanel, window

PLACES = np.array(list(product(np.linspace(0.0, 1.0, 4), repeat=2)))
ALONG = PLACES[:, 0]  # 0 at the left, 1 at the right
WELL = np.full(len(PLACES), 40.0)  # [K] over what is wanted, everywhere


def legend(
    base: np.ndarray, filler: np.ndarray, band: tuple[float, float] = (0.0, 0.0)
) -> set[str]:
    """Entries of the legend of one map."""
    panel = WindowPanel(
        "", PLACES, triangles_of(PLACES), base, filler, 100.0 + ALONG, np.zeros((0, 2)), {}
    )
    ends = ((0.0, 1.0), (0.0, 1.0))
    chart = WindowChart("Map", ("a", "b"), ends, (panel,), band, (0.0, 0.0), "elsewhere at fine")
    return {text.get_text() for text in window(chart).legends[0].get_texts()}


def test_what_fails_nowhere_is_not_in_the_legend() -> None:
    assert legend(WELL, WELL) == {"both are well", "total time", "run that works"}


@pytest.mark.parametrize(("lowest", "there"), [(-30.0, True), (-50.0, True), (0.0, False)])
def test_hatching_is_in_the_legend_where_there_is_some(lowest: float, there: bool) -> None:
    told = legend(WELL - 20.0 * ALONG, WELL, (lowest, 0.0 if lowest else lowest))
    assert "elsewhere at fine" not in told  # zero to 50 K below: the map has none of that
    told = legend(60.0 * ALONG - 10.0, WELL, (lowest, 0.0))
    assert ("elsewhere at fine" in told) is there


def test_each_fault_has_its_line_and_its_area() -> None:
    told = legend(30.0 - 60.0 * ALONG, 20.0 - 60.0 * ALONG[::-1])
    assert {"base comes too close beyond", "base too close to melting"} <= told
    assert {"filler fails beyond", "filler fails"} <= told
    assert "both wrong" not in told  # no run has both


def test_areas_where_both_fail_are_named_beside_those_of_one() -> None:
    told = legend(30.0 - 60.0 * ALONG, 20.0 - 60.0 * PLACES[:, 1])
    assert {"both wrong", "filler fails", "base too close to melting"} <= told
