"""What the figures share: thinning, spacing, units, colours."""

from __future__ import annotations

import numpy as np
import pytest

from lapheat.report.figures.schedule import on_spans
from lapheat.report.figures.style import LINES, TEMPERATURE, Units, envelope, short, spaced


def test_arc_spans_run_from_strike_to_break() -> None:
    time = np.array([0.0, 1.0, 2.0, 3.0, 5.0, 6.0])
    current = np.array([0.0, 70.0, 70.0, 0.0, 0.0, 50.0])
    assert on_spans(time, current) == [(0.0, 2.0), (5.0, 1.0)]
    assert on_spans(time, np.zeros(6)) == []


def test_envelope_keeps_extremes_and_order() -> None:
    time = np.linspace(0.0, 1.0, 20_001)
    values = np.sin(40.0 * time)
    values[7_777], values[13_131] = 5.0, -5.0
    thin, kept = envelope(time, values, bins=100)
    assert len(thin) <= 4 * 100
    assert (kept.max(), kept.min()) == (5.0, -5.0)
    assert np.all(np.diff(thin) > 0.0)
    assert (thin[0], thin[-1]) == (0.0, 1.0)
    short_time, _ = envelope(time[:300], values[:300], bins=100)
    assert len(short_time) == 300


def test_spaced_keeps_what_fits() -> None:
    assert spaced([0.0, 1.0, 2.0, 3.0], 1.5) == [0, 2]
    assert spaced([3.0, 0.0], 1.0) == [1, 0]


def test_units_convert_and_write() -> None:
    metric, imperial = Units("mm", "degC"), Units("in", "degF")
    assert metric.temperature_text(1562.15) == "1289 °C"
    assert imperial.temperature_text(1673.15) == "2552 °F"
    assert metric.margin_text(-12.0) == "melts, 12 K above its solidus"
    assert imperial.margin_text(100.0) == "stays 180 °F below its solidus"
    assert float(imperial.long(np.asarray(0.0381))) == pytest.approx(1.5)
    assert short("a very long name of an alloy", 12) == "a very long…"


def test_temperature_map_climbs_in_lightness() -> None:
    """Relative luminance of IEC 61966-2-1 (sRGB), so the order survives any colour blindness."""
    colours = TEMPERATURE(np.linspace(0.0, 1.0, 64))[:, :3]
    linear = np.where(colours <= 0.04045, colours / 12.92, ((colours + 0.055) / 1.055) ** 2.4)
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    assert np.all(np.diff(luminance) > 0.0)
    assert luminance[0] < 0.03
    assert luminance[-1] > 0.85


def test_line_colours_are_distinct() -> None:
    assert len(set(LINES)) == len(LINES) == 6
