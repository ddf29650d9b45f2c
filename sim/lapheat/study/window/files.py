"""A window as `window.json`, `window.csv` and pictures."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ..runs.axes import Axis
from ..runs.executors import Row
from ..runs.folder import cell, write_study
from ..runs.store import RowFile
from .boundary import level_lines, triangles_of
from .map import MEASURES, Run, knob_of, slack
from .sure import Chances
from .tried import Pick
from .window import Window

if TYPE_CHECKING:
    from .figure import WindowChart, WindowPanel

__all__ = ["OURS", "window_dict", "write_window"]

OURS = ("window.json", "window.csv", "rows.jsonl", r"figures/window(-[0-9]+)?\.(png|svg)")
COLUMNS = (
    *("tube_margin_K", "flange_margin_K", "tube_side_wet", "flange_side_wet", "total_s"),
    *("base_stays_solid", "filler_flows", "failed", "margin_K", "surplus_K", *MEASURES.values()),
    *("tube_side_surplus_K", "flange_side_surplus_K", "longest_dry_m", "filler_binding"),
)
CONFIRMED = tuple(name for name in COLUMNS if name != "failed")
NEAREST = ("margin_K", "surplus_K", *MEASURES.values(), "filler_binding", "total_s")
NAMES = {"base_slack_K": "base_melts", "filler_slack_K": "filler_cold"}
PANELS = 12  # maps on one picture
Array = NDArray[np.float64]


def window_dict(window: Window) -> dict[str, Any]:
    """Content of `window.json`: plain dicts, lists and numbers."""
    plan, pick = window.plan, window.pick
    told: dict[str, Any] = {
        "title": window.case.title,
        "detail": plan.detail,
        "own_detail": window.case.detail,
        "axes": [{"key": a.key, "unit": a.unit, "values": list(a.values)} for a in plan.axes],
        "free": [
            {"key": a.key, "unit": a.unit, "from": a.values[0], "to": a.values[-1]}
            for a in plan.free
        ],
        "runs": [
            {"inputs": dict(run.inputs), "at": _at(run, plan.axes), **_columns(run.row, COLUMNS)}
            for run in window.runs
        ],
        "boundaries": {NAMES[m]: _lines(window, m) for m in MEASURES.values()},
        "differences": [
            {"inputs": dict(d.run.inputs), "base_K": d.base, "filler_K": d.filler}
            for d in window.differences
        ],
        "pick": None,
        "why": pick.why,
    }
    if pick.run is not None:
        told["pick"] = _pick(pick, plan.axes)
    elif pick.nearest is not None:
        told["nearest"] = {
            "inputs": dict(pick.nearest.inputs),
            "at": _at(pick.nearest, plan.axes),
            **_columns(pick.nearest.row, NEAREST),
        }
    told["safest"] = None if window.safest is None else _pick(window.safest, plan.axes)
    if window.chances is not None:
        told["chances"] = _chances(window, window.chances)
    return told | {"notes": list(window.notes)}


def _at(run: Run, axes: Sequence[Axis]) -> list[float]:
    """Where a run lies on the axes, in their units."""
    return [axis.at(share) for axis, share in zip(axes, run.place, strict=True)]


def _pick(pick: Pick, axes: Sequence[Axis]) -> dict[str, Any]:
    assert pick.run is not None
    benched = pick.benched
    return {
        "inputs": dict(pick.run.inputs),
        "at": _at(pick.run, axes),
        "why": pick.why,
        "margin_K": pick.run.row.get("margin_K"),
        "surplus_K": pick.run.row.get("surplus_K"),
        "total_s": pick.run.row.get("total_s"),
        "confirmed": _columns(pick.confirmed or {}, CONFIRMED),
        **(
            {}
            if benched is None
            else {
                **{name: getattr(benched, name) for name in ("chance", "low", "high")},
                "way": "integrated" if benched.smooth else "counted",
                "benches": benched.benches,
                "succeed": benched.hits,
                "fails_by": benched.fails,
            }
        ),
    }


def _chances(window: Window, chances: Chances) -> dict[str, Any]:
    """Chances at the nodes, the last axis quickest."""
    axes = zip(window.plan.axes, chances.lines, strict=True)
    return {
        "sure": chances.sure,
        "axes": [_nodes_of(axis, line, window.case) for axis, line in axes],
        "chance": list(chances.chance),
        "runs": chances.runs,
        "explained": {"base": chances.q2[0], "filler": chances.q2[1]},
    }


def _nodes_of(axis: Axis, line: Sequence[float], case: Case) -> dict[str, Any]:
    """Nodes along an axis: their values, and the nearest that a person can set."""
    knob = knob_of(axis, case)
    return {
        "key": axis.key,
        "unit": axis.unit,
        "values": [axis.at(share) for share in line],
        "settings": [knob.settable(knob.value(share))[1] for share in line],
    }


def _columns(row: Row, names: Sequence[str]) -> Row:
    return {name: row.get(name) for name in names}


def _lines(window: Window, measure: str) -> list[list[list[float]]]:
    """Boundary lines in the units of the axes; only two axes have lines."""
    axes = window.plan.axes
    if len(axes) != 2:
        return []
    values = np.array([slack(run.row, measure) for run in window.runs])
    places = np.array([run.place for run in window.runs])
    return [
        [[axis.at(float(share)) for axis, share in zip(axes, point, strict=True)] for point in line]
        for line in level_lines(places, values)
    ]


def _csv(window: Window) -> str:
    axes = (*window.plan.axes, *window.plan.free)
    text = io.StringIO()
    table = csv.writer(text, lineterminator="\n")
    table.writerow([*(f"{a.key} [{a.unit}]" if a.unit else a.key for a in axes), *COLUMNS])
    for run in window.runs:
        inputs = dict(run.inputs)
        numbers = [inputs.get(a.key, "").removesuffix(a.unit).strip() for a in axes]
        table.writerow([*numbers, *(cell(run.row.get(name)) for name in COLUMNS)])
    return text.getvalue()


def write_window(window: Window, folder: Path, store: RowFile) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    told, table = window_dict(window), _csv(window)
    return write_study(folder, OURS, told, [table], store, lambda fresh: _figures(window, fresh))


def _figures(window: Window, folder: Path) -> list[Path]:
    from ...report.figures import write_figure  # matplotlib takes half a second
    from .figure import window as draw

    (folder / "figures").mkdir()
    if len(window.plan.axes) == 1:
        from .figure import one_key

        figure = one_key(_chart(window, [_line_panel(window)]))
        drawn = write_figure(figure, folder / "figures" / "window.png")
        return [path.relative_to(folder) for path in drawn]
    panels = list(_panels(window))
    pages = [panels[i : i + PANELS] for i in range(0, len(panels), PANELS)]
    paths: list[Path] = []
    for number, page in enumerate(pages, start=1):
        name = "window.png" if len(pages) == 1 else f"window-{number}.png"
        paths += write_figure(draw(_chart(window, page)), folder / "figures" / name)
    return [path.relative_to(folder) for path in paths]


def _finding(window: Window) -> str:
    """What the map found, for its title."""
    pick, sure = window.pick, "works" if window.chances is None else "is sure enough"
    if pick.run is None:
        return f"nothing {sure} here"
    took = (pick.confirmed or pick.run.row)["total_s"]  # by the case's own mesh, as the table
    return f"the quickest that {sure} takes {float(took or 0.0):.0f} s"


def _chart(window: Window, panels: Sequence[WindowPanel]) -> WindowChart:
    from ...report.figures.style import short
    from .figure import WindowChart

    axes = window.plan.axes[:2]
    free = [axis.key for axis in window.plan.free]
    apart = any(d.base or d.filler for d in window.differences)
    own = window.case.detail
    what = f"a boundary at {own}" if len(axes) == 2 else f"the curve on the {own} mesh"
    return WindowChart(
        title=f"{short(window.case.title, 40)}: {_finding(window)}"
        + (f"; best {', '.join(free)} at each point" if free else ""),
        labels=tuple(_label(axis) for axis in axes),
        ends=tuple((axis.values[0], axis.values[-1]) for axis in axes),
        panels=tuple(panels),
        base_band=_band([d.base for d in window.differences]),
        filler_band=_band([d.filler for d in window.differences]),
        band=f"{what} may be here" if apart else "",
        sure=None if window.chances is None else window.chances.sure,
        mesh=f"the {window.plan.detail} mesh",
    )


def _label(axis: Axis) -> str:
    return f"{axis.key} [{axis.unit}]" if axis.unit else axis.key


def _band(differences: Sequence[float]) -> tuple[float, float]:
    """Where a map's measure may lie when it is zero at the case's own detail [K]."""
    return min([0.0, *(-d for d in differences)]), max([0.0, *(-d for d in differences)])


def _panels(window: Window) -> Iterator[WindowPanel]:
    """One map for each value of the axes beyond the first two."""
    from .figure import WindowPanel

    axes = window.plan.axes
    for others in product(*(axis.values for axis in axes[2:])):
        at = [axis.share(value) for axis, value in zip(axes[2:], others, strict=True)]

        def here(place: Sequence[float], at: list[float] = at) -> bool:
            return all(abs(a - b) < 1e-6 for a, b in zip(place[2:], at, strict=True))

        good, bad = _told_apart([run for run in window.runs if here(run.place)])
        shares = np.array([run.place[:2] for run in good]).reshape(-1, 2)
        texts = [f"{a.key} = {a.text(value)}" for a, value in zip(axes[2:], others, strict=True)]
        yield WindowPanel(
            title=", ".join(texts),
            points=_places(good, axes[:2]),
            triangles=triangles_of(shares),
            base=_slacks(good, "base_slack_K"),
            filler=_slacks(good, "filler_slack_K"),
            total=_times(good),
            failed=_places(bad, axes[:2]),
            marks=_marks(window, at),
            chance=_nodes(window, at),
        )


def _line_panel(window: Window) -> WindowPanel:
    """The only axis, by value; the second of each point is 0."""
    from .figure import WindowPanel

    axes = window.plan.axes
    good, bad = _told_apart(sorted(window.runs, key=lambda run: run.place))
    return WindowPanel(
        title="",
        points=_places(good, axes),
        triangles=np.empty((0, 3), dtype=np.int64),
        base=_slacks(good, "base_slack_K"),
        filler=_slacks(good, "filler_slack_K"),
        total=_times(good),
        failed=_places(bad, axes),
        marks=_marks(window, []),
        chance=_nodes(window, []),
    )


def _told_apart(runs: Sequence[Run]) -> tuple[list[Run], list[Run]]:
    """Runs that succeeded, and those that did not."""
    good = [run for run in runs if run.row.get("failed") is None]
    return good, [run for run in runs if run.row.get("failed") is not None]


def _slacks(good: Sequence[Run], measure: str) -> Array:
    return np.array([slack(run.row, measure) for run in good])


def _times(good: Sequence[Run]) -> Array:
    return np.array([float(run.row["total_s"] or 0.0) for run in good])


def _marks(window: Window, at: Sequence[float]) -> dict[str, tuple[float, float]]:
    """Points to mark on the map of these shares of the further axes."""
    pick, safest, axes = window.pick, window.safest, window.plan.axes
    runs = {"pick": pick.run}
    if safest is None:
        runs["nearest"] = pick.nearest
    elif safest.run != pick.run:
        runs["safest"] = safest.run
    return {
        name: (float(place[0]), float(place[1]))
        for name, run in runs.items()
        if run is not None and _on_panel(run, axes[2:], at)
        for place in _places([run], axes[:2])
    }


def _on_panel(run: Run, axes: Sequence[Axis], at: Sequence[float]) -> bool:
    """Whether this map, at shares of the further axes, is the one nearest to a run."""
    for axis, here, there in zip(axes, at, run.place[2:], strict=True):
        line = [axis.share(value) for value in axis.values]
        if any(abs(share - there) < abs(here - there) - 1e-6 for share in line):
            return False
    return True


def _nodes(window: Window, at: Sequence[float]) -> tuple[Array, ...] | None:
    """Map of chances on one panel: values along its axes, and the chance, (n,), (m,), (m, n)."""
    chances = window.chances
    if chances is None:
        return None
    grid = np.array(chances.chance).reshape([len(line) for line in chances.lines])
    for line, share in zip(chances.lines[2:], at, strict=True):
        nearest = int(np.argmin(np.abs(np.array(line) - share)))
        grid = grid[:, :, nearest]
    lines = zip(window.plan.axes[:2], chances.lines[:2], strict=False)
    return *(np.array([a.at(s) for s in line]) for a, line in lines), grid.T


def _places(runs: Sequence[Run], axes: Sequence[Axis]) -> Array:
    """Where runs lie on one axis or two, in their units; (n, 2), zeros where there is none."""
    places = np.zeros((len(runs), 2))
    for row, run in zip(places, runs, strict=True):
        for i, axis in enumerate(axes):
            row[i] = axis.at(run.place[i])
    return places
