"""The picture of a window: its legend explains what is seen on it, and bands lie where they say."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from matplotlib.figure import Figure

from lapheat.study.window.boundary import triangles_of
from lapheat.study.window.figure import WindowChart, WindowPanel, one_key, window
from lapheat.study.window.files import _band

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
    told = legend(WELL - 20.0 * ALONG, WELL, (lowest, 0.0))  # 20 to 40 K: none of that band
    assert "elsewhere at fine" not in told
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


# --- one key ------------------------------------------------------------------------------------

X = np.linspace(0.0, 1.0, 5)


def drawn(base_apart: list[float], filler_apart: list[float], **marks: float) -> Figure:
    """Chart over one key, 40 to -40 K and 10 K to spare on the map; another mesh differs by these.

    `marks` are where along the key.
    """
    panel = WindowPanel(
        "", np.column_stack([X, 0.0 * X]), np.empty((0, 3), dtype=np.int64), 40.0 - 80.0 * X,
        np.full(5, 10.0), 100.0 + X, np.zeros((0, 2)), {k: (x, 0.0) for k, x in marks.items()},
    )  # fmt: skip
    bands, ends = (_band(base_apart), _band(filler_apart)), ((0.0, 1.0),)
    words = "it may be here" if any(base_apart + filler_apart) else ""
    return one_key(
        WindowChart("One", ("a",), ends, (panel,), *bands, words, mesh="the coarse mesh")
    )


def explained(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.legends[0].get_texts()]


def test_a_chart_over_one_key_explains_curves_dots_bands_and_marks() -> None:
    figure = drawn([30.0, 20.0], [-4.0, 2.0], pick=0.75, safest=0.25)
    assert explained(figure) == [
        "base: over the margin wanted",
        "filler: over what is wanted",
        "it may be here",
        "works on the coarse mesh",
        "does not work on the coarse mesh",
        "the quickest",
        "the safest",
    ]
    assert figure.axes[0].get_ylabel() == "slack on the coarse mesh [K]"


def test_a_band_holds_what_the_cases_own_mesh_has() -> None:
    """Own less map is 30 and 20 K of the base: on the own mesh it has up to 30 K more."""
    base, filler = drawn([30.0, 20.0], [-4.0, 2.0]).axes[0].collections
    for band, curve, (low, high) in (
        (base, 40.0 - 80.0 * X, (0.0, 30.0)),
        (filler, np.full(5, 10.0), (-4.0, 2.0)),
    ):
        places = band.get_paths()[0].vertices
        for x, y in zip(X, curve, strict=True):
            there = places[np.isclose(places[:, 0], x), 1]
            assert (there.min(), there.max()) == pytest.approx((y + low, y + high))


def test_meshes_that_do_not_differ_have_no_band() -> None:
    figure = drawn([0.0], [0.0])
    assert not figure.axes[0].collections
    assert "it may be here" not in explained(figure)
    (band,) = drawn([-5.0], [0.0]).axes[0].collections  # of the base alone
    assert band.get_paths()[0].vertices[:, 1].min() == pytest.approx(-45.0)
