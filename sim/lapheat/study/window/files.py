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

from ..runs.axes import Axis
from ..runs.executors import Row
from ..runs.folder import cell, write_study
from ..runs.store import RowFile
from .boundary import level_lines, triangles_of
from .map import MEASURES, Run, slack
from .window import Window

if TYPE_CHECKING:
    from .figure import WindowPanel

__all__ = ["OURS", "window_dict", "write_window"]

OURS = ("window.json", "window.csv", "rows.jsonl", "figures")
COLUMNS = (
    *("tube_margin_K", "flange_margin_K", "tube_side_wet", "flange_side_wet", "total_s"),
    *("base_stays_solid", "filler_flows", "failed", "margin_K", "surplus_K", *MEASURES.values()),
    *("tube_side_surplus_K", "flange_side_surplus_K", "longest_dry_m", "filler_binding"),
)
CONFIRMED = tuple(name for name in COLUMNS if name != "failed")
NEAREST = ("margin_K", "surplus_K", *MEASURES.values(), "filler_binding", "total_s")
NAMES = {"base_slack_K": "base_melts", "filler_slack_K": "filler_cold"}
PANELS = 12  # maps on one picture


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
        "runs": [{"inputs": dict(run.inputs), **_columns(run.row, COLUMNS)} for run in window.runs],
        "boundaries": {NAMES[m]: _lines(window, m) for m in MEASURES.values()},
        "differences": [
            {"inputs": dict(d.run.inputs), "base_K": d.base, "filler_K": d.filler}
            for d in window.differences
        ],
        "pick": None,
        "why": pick.why,
    }
    if pick.run is not None and pick.confirmed is not None:
        told["pick"] = {
            "inputs": dict(pick.run.inputs),
            "why": pick.why,
            "margin_K": pick.run.row.get("margin_K"),
            "surplus_K": pick.run.row.get("surplus_K"),
            "total_s": pick.run.row.get("total_s"),
            "confirmed": _columns(pick.confirmed, CONFIRMED),
        }
    elif pick.nearest is not None:
        told["nearest"] = {
            "inputs": dict(pick.nearest.inputs),
            **_columns(pick.nearest.row, NEAREST),
        }
    return told | {"notes": list(window.notes)}


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
    from .figure import WindowChart
    from .figure import window as draw

    (folder / "figures").mkdir()
    panels = list(_panels(window))
    pages = [panels[i : i + PANELS] for i in range(0, len(panels), PANELS)]
    axes = window.plan.axes
    paths: list[Path] = []
    free = [axis.key for axis in window.plan.free]
    apart = any(d.base or d.filler for d in window.differences)
    for number, page in enumerate(pages, start=1):
        chart = WindowChart(
            title=window.case.title + (f": best {', '.join(free)} at each point" if free else ""),
            labels=(_label(axes[0]), _label(axes[1])),
            ends=((axes[0].values[0], axes[0].values[-1]), (axes[1].values[0], axes[1].values[-1])),
            panels=tuple(page),
            base_band=_band([d.base for d in window.differences]),
            filler_band=_band([d.filler for d in window.differences]),
            band=f"a boundary at {window.case.detail} may be here" if apart else "",
        )
        name = "window.png" if len(pages) == 1 else f"window-{number}.png"
        paths += write_figure(draw(chart), folder / "figures" / name)
    return [path.relative_to(folder) for path in paths]


def _label(axis: Axis) -> str:
    return f"{axis.key} [{axis.unit}]" if axis.unit else axis.key


def _band(differences: Sequence[float]) -> tuple[float, float]:
    """Where a map's measure may lie when it is zero at the case's own detail [K]."""
    return min([0.0, *(-d for d in differences)]), max([0.0, *(-d for d in differences)])


def _panels(window: Window) -> Iterator[WindowPanel]:
    """One map for each value of the axes beyond the first two."""
    from .figure import WindowPanel

    axes = window.plan.axes
    pick, nearest = window.pick.run, window.pick.nearest
    for others in product(*(axis.values for axis in axes[2:])):
        at = [axis.share(value) for axis, value in zip(axes[2:], others, strict=True)]

        def here(run: Run, at: list[float] = at) -> bool:
            return all(abs(a - b) < 1e-6 for a, b in zip(run.place[2:], at, strict=True))

        runs = [run for run in window.runs if here(run)]
        good = [run for run in runs if run.row.get("failed") is None]
        bad = [run for run in runs if run.row.get("failed") is not None]
        shares = np.array([run.place[:2] for run in good]).reshape(-1, 2)
        texts = [f"{a.key} = {a.text(value)}" for a, value in zip(axes[2:], others, strict=True)]
        yield WindowPanel(
            title=", ".join(texts),
            points=_places(good, axes),
            triangles=triangles_of(shares),
            base=np.array([slack(run.row, "base_slack_K") for run in good]),
            filler=np.array([slack(run.row, "filler_slack_K") for run in good]),
            total=np.array([float(run.row["total_s"] or 0.0) for run in good]),
            failed=_places(bad, axes),
            pick=_place(pick, axes) if pick is not None and here(pick) else None,
            nearest=_place(nearest, axes) if nearest is not None and here(nearest) else None,
        )


def _place(run: Run, axes: Sequence[Axis]) -> tuple[float, float]:
    x, y = _places([run], axes)[0].tolist()
    return x, y


def _places(runs: Sequence[Run], axes: Sequence[Axis]) -> NDArray[np.float64]:
    """Where runs lie on the first two axes, in their units; (n, 2)."""
    found = [[axes[i].at(run.place[i]) for i in (0, 1)] for run in runs]
    return np.array(found, dtype=np.float64).reshape(-1, 2)
