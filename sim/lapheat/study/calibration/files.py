"""A calibration as `calibration.json`, `calibration.csv`, the fitted case and a picture."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ...case.file import case_to_toml
from ...constants import ZERO_CELSIUS
from ..runs.folder import write_study
from ..runs.store import RowFile
from .answers import Answers
from .caliper.fit import Caliper
from .fit import Fitted
from .readings import Calibration

__all__ = ["OURS", "calibration_dict", "write_calibration"]

OURS = (
    "calibration.json",
    "calibration.csv",
    "case.toml",
    "rows.jsonl",
    r"figures/calibration\.(png|svg)",
    r"\.?case\..+/",  # results of a case it wrote, kept when that is written anew
)


def calibration_dict(found: Calibration | Answers | Caliper) -> dict[str, Any]:
    """Content of `calibration.json`: plain dicts, lists and numbers."""
    fitted: dict[str, Any] = {item.unknown.name: _fitted(item) for item in found.fitted}
    told: dict[str, Any] = {
        "title": found.case.title,
        "detail": found.detail,
        "own_detail": found.case.detail,
        "fitted": fitted,
        "identifiable": not found.blind,
        "missing": list(found.blind),
        **({"hint": found.hint} if isinstance(found, Calibration) and found.hint else {}),
    }
    if isinstance(found, Calibration):
        if found.offset is not None:
            value, low, high = map(_short, found.offset)
            told["clock"] = {"value": value, "low": low, "high": high, "unit": "s"}
        return told | {
            "readings": int(np.isfinite(found.readings.values).sum()),
            "readings_given": found.given,
            "rms_K": _short(found.rms),
            "before_rms_K": _short(found.before_rms),
            "expected_rms_K": _short(found.expected),
            "fits": not found.misfit,
            "misfit": [*found.misfit, *found.causes],
            "own_detail_rms_K": None if found.own_rms is None else _short(found.own_rms),
            "residual_correlation": round(found.together, 4),
        }
    if isinstance(found, Caliper):
        return told | _of_widths(found)
    answers = [found.pieces.melted, found.pieces.wet]
    return told | {
        "answers": int(sum(np.isfinite(column).sum() for column in answers)),
        "rms_K": None,
        "before_rms_K": None,
        "scatter_K": found.scatter,
        "log_likelihood": _short(found.log),
        "before_log_likelihood": _short(found.before_log),
    }


def _of_widths(found: Caliper) -> dict[str, Any]:
    best = found.next
    names = [item.unknown.name for item in found.fitted]
    widths = [edge.name for edge in found.beads.edges]
    return {
        "widths": int(np.isfinite(found.beads.widths).sum()),
        "rms_K": None,
        "before_rms_K": None,
        "rms_m": _short(found.rms),
        "before_rms_m": _short(found.before_rms),
        "reading_error_m": found.reading,
        "fits": not found.misfit,
        "misfit": list(found.misfit),
        "chance": _short(found.chance),
        "next": best
        and {
            "current_A": best.current,
            "speed_m_per_s": best.speed,
            "widths_m": dict(zip(widths, map(_short, best.widths), strict=True)),
            "half_interval_now": dict(zip(names, map(_short, best.now), strict=True)),
            "half_interval_then": dict(zip(names, map(_short, best.then), strict=True)),
        },
    }


def _fitted(item: Fitted) -> dict[str, Any]:
    return {
        "value": _short(item.value),
        "low": _short(item.low),
        "high": _short(item.high),
        "unit": item.unknown.kind.si,
        "key": item.unknown.key,
        "before": _short(item.unknown.start),
        "at_bound": item.at_bound,
        "shared": _short(item.shared),
    }


def _short(value: float) -> float:
    return float(f"{value:.6g}")


def _history_lines(found: Calibration) -> Iterator[Sequence[object]]:
    """Yield a row for each reading."""
    yield ["time_s", "probe", "measured_C", "before_C", "after_C"]
    readings = found.readings
    for i, time in enumerate(readings.time):
        for j, name in enumerate(readings.names):
            values = [a[i, j] - ZERO_CELSIUS for a in (readings.values, found.before, found.after)]
            if np.isfinite(values[0]):
                yield [f"{time:.4f}", name, *(f"{value:.2f}" for value in values)]


def _answer_lines(found: Answers) -> Iterator[Sequence[object]]:
    """Yield a row for each trial piece."""
    yield [
        *("current_A", "melted", "wet", "margin_before_K", "margin_after_K"),
        *("surplus_before_K", "surplus_after_K"),
    ]
    pieces, words = found.pieces, {0.0: "no", 1.0: "yes"}
    places = np.searchsorted(found.currents, pieces.current)
    for i, place in enumerate(places):
        measures = [
            getattr(when, name)[place]
            for name in ("margin", "surplus")
            for when in (found.before, found.after)
        ]
        yield [
            f"{pieces.current[i]:.6g}",
            *(words.get(float(column[i]), "") for column in (pieces.melted, pieces.wet)),
            *(f"{value:.2f}" if np.isfinite(value) else "" for value in measures),
        ]


def _width_lines(found: Caliper) -> Iterator[Sequence[object]]:
    """Yield a row for each width."""
    yield [
        *("bead", "current_A", "speed_mm_per_s", "edge", "level_C"),
        *("measured_mm", "before_mm", "after_mm"),
    ]
    beads, sets = found.beads, [found.computed(found.before), found.computed(found.after)]
    for i, row in enumerate(beads.widths):
        for j, (edge, level) in enumerate(zip(beads.edges, found.levels, strict=True)):
            if np.isfinite(row[j]):
                yield [
                    *(i + 1, f"{beads.current[i]:.6g}", f"{1e3 * beads.speed[i]:.6g}", edge.name),
                    f"{level.kelvin - ZERO_CELSIUS:.1f}",
                    *(f"{1e3 * width:.3f}" for width in (row[j], *(one[i, j] for one in sets))),
                ]


def write_calibration(
    found: Calibration | Answers | Caliper, folder: Path, store: RowFile
) -> tuple[Path, ...]:
    """Write the result folder; whole or not at all. What does not fit leaves no case.

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    text = io.StringIO()
    if isinstance(found, Calibration):
        lines = _history_lines(found)
    else:
        lines = _width_lines(found) if isinstance(found, Caliper) else _answer_lines(found)
    csv.writer(text, lineterminator="\n").writerows(lines)
    fits = isinstance(found, Answers) or not found.misfit
    texts = [text.getvalue(), case_to_toml(found.case) if fits else None]
    told = calibration_dict(found)
    return write_study(folder, OURS, told, texts, store, lambda fresh: _figure(found, fresh))


def _figure(found: Calibration | Answers | Caliper, folder: Path) -> list[Path]:
    from ...report.figures import write_figure  # matplotlib takes half a second
    from .caliper.figure import tracks
    from .figure import AnswerPanel, HistoryPanel, answers, histories

    (folder / "figures").mkdir()
    case = found.case
    if isinstance(found, Calibration):
        readings, late = found.readings, found.offset[0] if found.offset else 0.0
        panels = [
            HistoryPanel(
                name=name,
                time=readings.time - late,
                measured=readings.values[:, j],
                # it strikes when its arc does, whatever the record's clock
                before=np.interp(readings.time - late, readings.time, found.before[:, j]),
                after=found.after[:, j],
            )
            for j, name in enumerate(readings.names)
        ]
        figure = histories(case, panels, (found.before_rms, found.rms))
    elif isinstance(found, Caliper):
        figure = tracks(found)
    else:
        columns = (
            ("margin", "melted", ("melted", "stayed solid"), "solidus less peak (K)"),
            ("surplus", "wet", ("wet", "stayed dry"), "peak of the wanted share less flow (K)"),
        )
        shown = [
            AnswerPanel(
                measure=label,
                yes=words[0],
                no=words[1],
                current=found.pieces.current,
                answers=getattr(found.pieces, column),
                currents=found.currents,
                before=getattr(found.before, measure),
                after=getattr(found.after, measure),
                scatter=found.scatter,
            )
            for measure, column, words, label in columns
            if np.isfinite(getattr(found.pieces, column)).any()
        ]
        figure = answers(case, shown)
    files = write_figure(figure, folder / "figures" / "calibration.png")
    return [path.relative_to(folder) for path in files]
