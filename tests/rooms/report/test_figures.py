"""The figures of a run: what they say, in whose units, and that nothing collides or is cut."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.collections import PolyCollection
from matplotlib.contour import ContourSet
from matplotlib.figure import Figure
from matplotlib.text import Text

from lapheat.case.case import Display
from lapheat.history.records import History
from lapheat.joint.schedule import order_of
from lapheat.joint.section import Region
from lapheat.report.figures import FIGURES, current, histories, peaks, schedule, section
from lapheat.report.figures.current import STROKE
from support.synthetic import AIR, PROBES, make_case, make_history


@pytest.fixture(autouse=True)
def _no_silent_arithmetic() -> Iterator[None]:
    with np.errstate(divide="raise", invalid="raise", over="raise"):
        yield


def _melted() -> History:
    """A run far above solidus, seen before the filler lies where it was hottest."""
    run = make_history(make_case(), peak=1860.0)
    bare = run.problem.mesh.section.region != Region.FILLET
    return replace(run, snapshot=replace(run.snapshot, alive=bare))


VARIANTS = {
    "demo": lambda: make_history(make_case()),
    "bead": lambda: make_history(make_case(bead=True, coverage=0.6), peak=1500.0),
    "one segment": lambda: make_history(make_case(segments=1, probes=())),
    "forty segments": lambda: make_history(make_case(segments=40, pause=3.0, order="opposite")),
    "inches": lambda: make_history(make_case(display=Display("in", "degF"))),
    "backstep": lambda: make_history(make_case(probes=(), order="backstep")),
    "melted": _melted,
    "small tube": lambda: make_history(make_case(diameter=6e-3, segments=3)),
    "cold": lambda: make_history(make_case(), peak=900.0),
}


@cache
def run_of(variant: str) -> History:
    return VARIANTS[variant]()


def texts_of(axes: Axes) -> str:
    legend = axes.get_legend()
    return "\n".join(t.get_text() for t in legend.get_texts()) if legend else ""


def figure_legend(figure: Figure) -> str:
    return "\n".join(t.get_text() for legend in figure.legends for t in legend.get_texts())


def contour_levels(axes: Axes) -> list[float]:
    return sorted(float(c.levels[0]) for c in axes.collections if isinstance(c, ContourSet))


@pytest.mark.parametrize("name", FIGURES)
@pytest.mark.parametrize("variant", [v for v in VARIANTS if v not in ("backstep", "cold")])
def test_no_text_is_cut_or_covers_another(
    variant: str, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[Text] = []
    draw = Text.draw

    def record(self: Text, renderer: RendererBase) -> None:
        drawn.append(self)
        draw(self, renderer)

    monkeypatch.setattr(Text, "draw", record)
    figure = FIGURES[name](run_of(variant))
    figure.canvas.draw()
    boxes = {
        text: text.get_window_extent().padded(-0.75)
        for text in drawn
        if text.get_visible() and text.get_text()
    }
    assert len(boxes) > 5
    width, height = figure.bbox.size
    for text, box in boxes.items():
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= width and box.y1 <= height
        assert inside, f"{text.get_text()!r} is cut: {box}"
    for (one, a), (other, b) in combinations(boxes.items(), 2):
        assert not a.overlaps(b), f"{one.get_text()!r} covers {other.get_text()!r}"


@pytest.mark.parametrize(
    ("variant", "length", "degree"), [("demo", "mm", "°C"), ("inches", "in", "°F")]
)
def test_every_axis_has_the_users_unit(variant: str, length: str, degree: str) -> None:
    run = run_of(variant)
    *panels, bar = peaks(run).axes
    assert [axes.get_ylabel() for axes in panels] == [
        f"height ({length})",
        f"height ({length})",
        f"outward ({length})",
    ]
    assert panels[-1].get_xlabel().endswith("(deg)")
    assert bar.get_ylabel() == f"peak temperature ({degree})"
    for axes in histories(run).axes:
        assert axes.get_ylabel() == f"temperature ({degree})"
    assert histories(run).axes[-1].get_xlabel().startswith("time (s)")
    joint, bar = section(run).axes
    assert joint.get_xlabel() == f"radius ({length})"
    assert joint.get_ylabel() == f"height above the flange face ({length})"
    assert bar.get_ylabel() == f"cell temperature ({degree})"
    bars, _, amps = schedule(run).axes
    assert (bars.get_ylabel(), amps.get_ylabel()) == ("segment number", "current (A)")
    assert amps.get_xlabel() == "time (s)"


@pytest.mark.parametrize(
    ("variant", "outside", "bore", "flange"),
    [
        ("demo", [1025.0], [1025.0], [1025.0]),
        ("inches", [1877.0], [1877.0], [1877.0]),
        ("melted", [1025.0, 1400.0], [1025.0, 1400.0], [1025.0]),
        ("cold", [], [], []),
    ],
)
def test_peak_contours_are_filler_flow_and_solidus(
    variant: str, outside: list[float], bore: list[float], flange: list[float]
) -> None:
    panels = peaks(run_of(variant)).axes[:3]
    for axes, expected in zip(panels, (outside, bore, flange), strict=True):
        assert contour_levels(axes) == pytest.approx(expected)
        labels = {t.get_text() for t in axes.texts if "°" in t.get_text()}
        unit = "°F" if variant == "inches" else "°C"
        assert labels == {f"{level:.0f} {unit}" for level in expected}


def test_contour_lies_where_the_peak_crosses_filler_flow() -> None:
    run = run_of("demo")
    surface = run.surfaces["tube outside"]
    axes = peaks(run).axes[0]
    (contour,) = [c for c in axes.collections if isinstance(c, ContourSet)]
    points = contour.get_paths()[0].vertices
    top = points[(points[:, 0] > 200) & (points[:, 0] < 205) & (points[:, 1] > 1.0), 1].max()
    layer = int(np.argmin(np.abs(np.degrees(surface.angle) - 202.5)))
    hot = surface.position[surface.peak[:, layer] > 1298.15].max()
    cell = np.diff(surface.edges).min()
    assert hot <= 1e-3 * top <= hot + 1.5 * cell


def test_peak_titles_give_the_margin() -> None:
    assert next(a.get_title("left") for a in peaks(run_of("demo")).axes[:3]) == (
        "Tube outside stays 111 K below its solidus: peak at 1289 °C"
    )
    hot = peaks(run_of("melted")).axes[0].get_title("left")
    assert hot == "Tube outside melts, 187 K above its solidus: peak at 1587 °C"
    fahrenheit = peaks(run_of("inches")).axes[0].get_title("left")
    assert fahrenheit == "Tube outside stays 200 °F below its solidus: peak at 2352 °F"


def test_peak_legend_says_whether_solidus_was_reached() -> None:
    cool = figure_legend(peaks(run_of("demo")))
    assert "filler flow 1025 °C" in cool
    assert "solidus: 304L 1400 °C, low-carbon steel 1490 °C (not reached)" in cool
    assert "fillet, root to toe" in cool
    assert "not reached" not in figure_legend(peaks(run_of("melted")))


def test_bead_has_neither_flange_nor_filler() -> None:
    run = run_of("bead")
    assert len(peaks(run).axes) == 3  # two panels and the bar
    assert figure_legend(peaks(run)) == "solidus: 304L 1400 °C (not reached)"
    assert "filler" not in texts_of(histories(run).axes[0])
    axes = section(run).axes[0]
    assert axes.get_xlabel() == "along the tube, from the arc line (mm)"
    assert axes.get_ylabel() == "radius (mm)"


@pytest.mark.parametrize("variant", ["demo", "small tube"])
def test_peak_panels_share_a_scale_and_show_the_hot_region(variant: str) -> None:
    run = run_of(variant)
    leg = run.case.fillet.leg
    panels = peaks(run).axes[:3]
    norms = {id(axes.collections[0].norm) for axes in panels}
    assert len(norms) == 1
    rise = run.surfaces["tube outside"].peak.max() - AIR
    for axes, name in zip(panels, ("tube outside", "tube bore", "flange face"), strict=True):
        surface = run.surfaces[name]
        low, high = (1e-3 * y for y in axes.get_ylim())
        hot = surface.position[surface.peak.max(axis=1) > AIR + 0.4 * rise]
        assert low <= hot.min()
        assert hot.max() <= high
        assert high == pytest.approx(max(3.0 * leg, high))
        assert low == pytest.approx(min(max(-3.0 * leg, surface.edges.min()), low))
        assert axes.get_xlim() == (0.0, 360.0)


def test_peak_panels_widen_with_the_heat() -> None:
    """Beyond three fillet legs the panel goes on as far as 40 % of the largest rise."""
    run = run_of("demo")
    surface = run.surfaces["flange face"]
    rise = run.surfaces["tube outside"].peak.max() - AIR
    wide = np.where(surface.edges[1:, None] < 20e-3, 0.5, 0.3) * rise * np.ones_like(surface.peak)
    surfaces = {**run.surfaces, "flange face": replace(surface, peak=AIR + wide)}
    _, high = peaks(replace(run, surfaces=surfaces)).axes[2].get_ylim()
    assert high == pytest.approx(1e3 * surface.edges[surface.edges < 20e-3].max())


def test_peak_map_holds_the_peaks_of_its_angle() -> None:
    surface = run_of("demo").surfaces["tube outside"]
    mesh = peaks(run_of("demo")).axes[0].collections[0]
    shown = np.asarray(mesh.get_array())
    corners = mesh.get_coordinates()[:, :, 0]
    assert shown.max() == pytest.approx(surface.peak.max() - 273.15)
    row = int(np.argmax(shown.max(axis=1)))
    column = int(np.argmax(shown[row, 1:-1])) + 1  # the ends repeat the ring's other side
    layer = int(np.argmax(surface.peak.max(axis=0)))
    turn = np.degrees(surface.angle[layer])
    assert corners[row, column] < turn < corners[row, column + 1]
    np.testing.assert_array_equal(shown[:, 0], shown[:, -2])
    np.testing.assert_array_equal(shown[:, -1], shown[:, 1])


@pytest.mark.parametrize(("variant", "panels"), [("demo", 2), ("backstep", 1), ("one segment", 1)])
def test_history_panels_follow_the_probes(variant: str, panels: int) -> None:
    assert len(histories(run_of(variant)).axes) == panels


def test_histories_hold_the_traces_and_the_thresholds() -> None:
    run = run_of("demo")
    starts, probes = histories(run).axes
    shown = [line for line in starts.lines if len(line.get_xdata()) > 2]
    assert len(shown) == 1 + run.case.segment_count  # and the hottest surface
    for line, column in zip(shown[1:], run.trace.starts.T, strict=True):
        assert np.max(line.get_ydata()) == pytest.approx(column.max() - 273.15)
    flat = sorted(float(line.get_ydata()[0]) for line in starts.lines if line not in shown)
    assert flat == pytest.approx([1025.0, 1400.0])
    assert "304L solidus 1400 °C\nfiller flow 1025 °C" in texts_of(starts)
    assert starts.get_legend().get_title().get_text() == "starts: the hotter of tube and flange"
    told = "start of segment 1 (first)\nstarts of those between\nstart of segment 8 (last)"
    assert told in texts_of(starts)
    assert texts_of(probes).split("\n")[-3:] == ["T1 (tube)", "T2 (tube)", "plate (flange)"]
    hottest = run.trace.probes[:, 0]
    when = run.trace.time[hottest.argmax()]
    title = f"Hottest probe, T1, reaches {hottest.max() - 273.15:.0f} °C at {when:.0f} s"
    assert probes.get_title("left") == title


@pytest.mark.parametrize(("count", "named"), [(1, 1), (3, 3), (6, 6), (7, 2)])
def test_few_start_points_have_each_a_name(count: int, named: int) -> None:
    run = make_history(make_case(segments=count, probes=()))
    told = texts_of(histories(run).axes[0])
    assert told.count("start of segment") == named
    assert ("starts of those between" in told) is (count > named)


@pytest.mark.parametrize("apart", [0.0, 8.0, 60.0, 200.0])
def test_current_names_both_solidi_beside_their_lines(apart: float) -> None:
    """A stroke goes from each line to its name; names stand in the order of their lines."""
    run = run_of("demo")
    case, alloys = run.case, dict(run.case.alloys)
    assert case.flange is not None
    flange = alloys[case.flange.alloy]
    alloys["hot"] = replace(flange, solidus=1673.15 + apart, liquidus=1673.15 + apart + 30.0)
    arc = replace(case.arc, control="pedal", hold=1500.0)
    case = replace(case, arc=arc, alloys=alloys, flange=replace(case.flange, alloy="hot"))
    figure = current(replace(run, case=case))
    heat = figure.axes[1]
    figure.draw_without_rendering()
    names = {t.get_text().rsplit(" ", 1)[0]: t for t in heat.texts}
    strokes = [line for line in heat.lines if list(line.get_xdata()) == [1.0, STROKE]]
    ends = sorted(tuple(map(float, line.get_ydata())) for line in strokes)
    levels = [1025.0, 1226.85, 1400.0, 1400.0 + apart]
    assert [level for level, _ in ends] == pytest.approx(levels)
    order = ("flow", "hold", "tube solidus", "flange solidus")
    assert [float(names[name].xy[1]) for name in order] == [beside for _, beside in ends]
    boxes = [names[name].get_window_extent() for name in order]
    assert all(a.y1 < b.y0 for a, b in pairwise(boxes))
    far = heat.transData.transform([(0.0, y) for y in np.ravel(ends)])[:, 1].reshape(-1, 2)
    assert np.ptp(far, axis=1).max() < 2.0 * boxes[0].height
    if apart == 200.0:  # room for all: each at its line
        assert [beside for _, beside in ends] == pytest.approx(levels)


def test_histories_shade_and_number_each_segment() -> None:
    run = run_of("demo")
    for axes in histories(run).axes:
        spans = sorted((p.get_x(), p.get_x() + p.get_width()) for p in axes.patches)
        np.testing.assert_allclose(spans, [(r.start, r.end) for r in run.segments])
        assert [t.get_text() for t in axes.texts] == [str(n) for n in range(1, 9)]


def test_section_names_parts_and_hottest_instant() -> None:
    run = run_of("demo")
    axes = section(run).axes[0]
    assert axes.get_title("left") == (
        f"Tube stays 111 K below its solidus: hottest at {run.snapshot.time:.1f} s"
        f" and {np.degrees(run.snapshot.angle):.0f} deg, 1289 °C"
    )
    assert {t.get_text() for t in axes.texts} == {
        "tube 304L",
        "fillet CuSi3Mn1",
        "flange low-carbon steel",
    }
    assert set(contour_levels(axes)) == {1025.0}
    assert axes.get_aspect() == 1.0
    (low, high), (left, right) = axes.get_ylim(), axes.get_xlim()
    assert low < -6.35
    assert high > 3.3
    assert left < 17.4
    assert right > 19.05 + 3.3


def test_section_draws_cells_where_they_are_with_their_temperature() -> None:
    run = run_of("demo")
    joint = run.problem.mesh.section
    (body,) = [c for c in section(run).axes[0].collections if isinstance(c, PolyCollection)]
    cell = int(np.argmax(run.snapshot.temperature))
    corners = 1e3 * joint.vertices[joint.cells[cell][joint.cells[cell] >= 0]]
    drawn = int(np.argmax(body.get_array()))
    assert np.max(body.get_array()) == pytest.approx(run.snapshot.temperature[cell] - 273.15)
    np.testing.assert_allclose(body.get_paths()[drawn].vertices[: len(corners)], corners)


def test_section_hatches_missing_filler_and_marks_solidus() -> None:
    run = run_of("melted")
    figure = section(run)
    axes = figure.axes[0]
    fillet = int((run.problem.mesh.section.region == Region.FILLET).sum())
    hatched = [c for c in axes.collections if isinstance(c, PolyCollection) and c.get_hatch()]
    assert [len(c.get_paths()) for c in hatched] == [fillet]
    assert 1400.0 in contour_levels(axes)
    assert "solidus: 304L 1400 °C" in figure_legend(figure)
    assert "no filler here yet" in figure_legend(figure)
    laid = figure_legend(section(run_of("demo")))
    assert "no filler" not in laid
    assert "solidus" not in laid


def test_torch_axis_only_while_the_arc_could_burn() -> None:
    run = run_of("demo")
    assert "torch axis" in figure_legend(section(run))
    late = replace(run, snapshot=replace(run.snapshot, time=run.total + 1.0))
    assert "torch axis" not in figure_legend(section(late))


@pytest.mark.parametrize(
    ("variant", "order", "count"), [("demo", "in-turn", 8), ("forty segments", "opposite", 40)]
)
def test_schedule_bars_stand_in_order(variant: str, order: str, count: int) -> None:
    run = run_of(variant)
    bars = schedule(run).axes[0]
    boxes = sorted(
        (p.get_x(), p.get_width(), p.get_y() + 0.5 * p.get_height()) for p in bars.patches
    )
    assert tuple(round(y) for _, _, y in boxes) == order_of(order, count)
    for (left, width, _), segment in zip(boxes, run.segments, strict=True):
        assert (left, left + width) == pytest.approx((segment.start, segment.end))


def test_schedule_tells_arc_time_and_current() -> None:
    run = run_of("demo")
    bars, strip, amps = schedule(run).axes
    assert bars.get_title("left") == (
        f"8 segments in {run.total:.0f} s, arc on for {run.arc_on:.0f} s"
        f" ({100 * run.arc_on / run.total:.0f} %)"
    )
    assert "starts at 20 °C" in {t.get_text() for t in bars.texts}
    (blocks,) = strip.collections
    on = sum(float(np.ptp(path.vertices[:, 0])) for path in blocks.get_paths())
    assert on == pytest.approx(run.arc_on, rel=0.02)
    (line,) = amps.lines
    assert np.max(line.get_ydata()) == run.case.arc.current
    assert line.get_drawstyle() == "steps-pre"


def test_long_schedule_drops_texts_but_no_bar() -> None:
    bars = schedule(run_of("forty segments")).axes[0]
    assert len(bars.patches) == 40
    assert not bars.texts


def test_names_are_written_as_they_are() -> None:
    names = ("$T_1$", "_hidden", "x" * 60)
    probes = tuple(replace(PROBES[0], name=name) for name in names)
    axes = histories(make_history(make_case(probes=probes))).axes[1]
    labels = texts_of(axes).split("\n")
    assert not any(text.get_parse_math() for text in axes.get_legend().get_texts())
    assert labels[-3:] == ["$T_1$ (tube)", "_hidden (tube)", "x" * 17 + "… (tube)"]
