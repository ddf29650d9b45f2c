"""Graded mesh lines of the section."""

from __future__ import annotations

import numpy as np
import pytest

from lapheat.joint.section import graded


@pytest.mark.parametrize("cells", [1, 4, 9, 20])
def test_graded_lines_refine_one_map(cells: int) -> None:
    """Halved sizes and the root of the growth cut every cell in two, from 0.5 to at most 4 mm."""
    ramp = np.log(4.0 / 0.5) / np.log(1.4)  # cells; the slope of the map is 0.5 mm * 1.4^cell
    length = 0.5e-3 * (1.4 ** min(cells, ramp) - 1.0) / np.log(1.4) + 4e-3 * max(cells - ramp, 0.0)
    coarse = graded(length, 0.5e-3, 1.4, 4e-3)
    fine = graded(length, 0.25e-3, 1.4**0.5, 2e-3)
    assert len(coarse) == cells + 1
    np.testing.assert_allclose(fine[::2], coarse, rtol=1e-12)


@pytest.mark.parametrize("length", [0.2e-3, 1.3e-3, 6.35e-3, 0.11])
def test_graded_lines_fill_the_length(length: float) -> None:
    lines = graded(length, 0.5e-3, 1.3, 6e-3)
    widths = np.diff(lines)
    assert lines[0] == 0.0
    assert lines[-1] == pytest.approx(length)
    assert widths.max() <= 6e-3 * 1.5
    assert widths[0] <= 0.5e-3 * 1.6


def test_first_cells_hardly_feel_a_change_of_the_count() -> None:
    """From 5 to 6 cells the first two change by less than a hundredth."""
    found = {len(ends): ends for ends in (graded(x * 1e-3, 0.5e-3, 1.3, 6e-3) for x in (6.1, 6.2))}
    before, after = found[6], found[7]
    np.testing.assert_allclose(before[1:3], after[1:3], rtol=0.01)
