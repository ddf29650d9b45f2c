"""The commands of many runs as functions, for scripts and notebooks.

Each takes a case file by its name, with changes put over it, as `read_case` does: defaults follow
what varies, so a case that is already read would not do. With `workers` above 1 a script needs
``if __name__ == "__main__":`` around what it does, as worker processes import it; a notebook does
not. What all of them take beside their own is in `Shared`.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping, Sequence
from math import inf
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, TypeVar, Unpack

from ..case.case import Case
from ..report.notebook import notebook_count
from .answer import Answer, flat
from .runs import Count, Planner, RowFile, Source, drive, executor_of, warm_up
from .runs.effort import refuse_long

if TYPE_CHECKING:
    from .asked import Fits
    from .explain.explain import Explained
    from .find.seek import Found as Settings
    from .risk.risk import Risk
    from .sequences.orders import Sequences
    from .window.window import Window

__all__ = ["Shared", "calibrate", "explain", "find", "risk", "sequences", "window"]

Found = TypeVar("Found")
PathLike = str | os.PathLike[str]
Write = Callable[[Found, Path, RowFile], tuple[Path, ...]]


class Shared(TypedDict, total=False):
    """How a study is carried out.

    Attributes
    ----------
    workers : runs at once, 1 by default
    count : called with what is being done, runs done, runs expected; a notebook shows them anyhow
    hours : a study that would take longer on this machine is refused
    rows : file that keeps each run as it ends; with the same file a study cut short goes on
    """

    workers: int
    count: Count | None
    hours: float
    rows: PathLike | None


def _source(case: PathLike, changes: Iterable[str]) -> Source:
    if isinstance(case, Case):
        raise TypeError(
            "a study takes the name of a case file, and changes to it, not a case: defaults follow "
            "what varies"
        )
    source = Source.of(case, (changes,) if isinstance(changes, str) else tuple(changes))
    source.case()
    return source


def _sure(share: float) -> float:
    """Pass on a chance that a study can be asked for; anything else is a ValueError."""
    if not 0.5 <= share <= 0.99:
        raise ValueError(f"sure must be from 0.5 to 0.99, not {share}")
    return share


def _answer(
    name: str,
    source: Source,
    planner: Planner[Found],
    size: tuple[str, tuple[int, int]],
    shared: Shared,
    told: Callable[[Found], dict[str, Any]],
    rows: Callable[[Mapping[str, Any]], Iterable[Mapping[str, Any]]],
    write: Write[Found],
) -> Answer[Found]:
    """Run a planner and put what it found beside its JSON, rows and files.

    `size` is its mesh, and runs at that and at the case's own.
    """
    if unknown := shared.keys() - Shared.__annotations__.keys():
        raise TypeError(f"a study takes no {', '.join(sorted(unknown))}")
    (detail, runs), workers, path = size, shared.get("workers", 1), shared.get("rows")
    source.case((), detail)  # refuses a mesh that does not exist
    refuse_long(source.case(), detail, runs, workers, shared.get("hours", inf))
    kept = RowFile(None if path is None else Path(path), resume=True)
    with kept as store, executor_of(workers, None, warm_up) as executor:
        found = drive(planner, executor, store, shared.get("count") or notebook_count())
    content = told(found)
    table = tuple(flat(row) for row in rows(content))
    title = source.case().title
    return Answer(found, name, title, content, table, lambda folder: write(found, folder, store))


def window(
    case: PathLike,
    overrides: Iterable[str] = (),
    vary: Sequence[str] = (),
    free: str = "",
    sure: float | None = None,
    detail: str = "coarse",
    **shared: Unpack[Shared],
) -> Answer[Window]:
    """Map where the base stays solid and the filler flows, and pick the quickest that works.

    Parameters
    ----------
    case, overrides : as for `read_case`
    vary : axes as "KEY=FROM:TO:COUNT"; by default segment and pause
    free : keys chosen anew at each point, with commas between
    sure : map the chance that a bench succeeds too, and pick where it is at least this
    detail : mesh of the map
    **shared : see `Shared`

    Returns
    -------
    answer : a row a point of the map

    Raises
    ------
    CaseError
        The case or an axis is refused.
    ValueError
        The chance is out of range, or keys are free beside it: `find` chooses those by chance.
    """
    from .runs.axes import free_axes, given_axes
    from .window.files import window_dict, write_window
    from .window.map import WindowPlan
    from .window.window import most_runs, window_of

    if sure is not None and free:
        raise ValueError(f"nothing may be free beside sure: {free!r}; find chooses keys by chance")
    source = _source(case, overrides)
    axes = given_axes(vary, source.case())
    wanted = None if sure is None else _sure(sure)
    plan = WindowPlan(source, axes, free_axes(free, source.case(), axes), detail, wanted)
    return _answer(
        "window",
        source,
        window_of(plan),
        (detail, most_runs(plan, source.case().detail)),
        shared,
        window_dict,
        lambda content: content["runs"],
        write_window,
    )


def risk(
    case: PathLike,
    overrides: Iterable[str] = (),
    samples: int = 256,
    seed: int = 0,
    within: float = 0.02,
    detail: str = "coarse",
    **shared: Unpack[Shared],
) -> Answer[Risk]:
    """Find the chance of a melted base and of a cold joint on a real bench, and what drives them.

    Parameters
    ----------
    case, overrides : as for `read_case`
    samples : runs at most
    seed : of the samples
    within : half width of both chances' intervals at which it stops early, 0 never
    detail : mesh of the runs
    **shared : see `Shared`

    Returns
    -------
    answer : a row a driver; the samples are in `Risk.at` and `Risk.rows`

    Raises
    ------
    CaseError
        The case is refused.
    MarchError
        No run could be computed.
    """
    from .risk.files import risk_dict, write_risk
    from .risk.risk import assess, most_runs, plan_of

    source = _source(case, overrides)
    plan = plan_of(source, detail, samples, seed, within)
    return _answer(
        "risk",
        source,
        assess(plan),
        (detail, most_runs(plan)),
        shared,
        risk_dict,
        lambda content: content["drivers"],
        write_risk,
    )


def sequences(
    case: PathLike,
    overrides: Iterable[str] = (),
    orders: str = "",
    equal_interpass: bool = False,
    detail: str | None = None,
    **shared: Unpack[Shared],
) -> Answer[Sequences]:
    """Compare orders of segments: what works first, then even peaks, then the time taken.

    Parameters
    ----------
    case, overrides : as for `read_case`
    orders : names or lists of segment numbers, with commas between; all named ones by default
    equal_interpass : compare them also without a pause but the wait for `travel.resume_below`
    detail : mesh; the case's own by default
    **shared : see `Shared`

    Returns
    -------
    answer : a row an order, the best first

    Raises
    ------
    CaseError
        The case or an order is refused.
    """
    from .sequences.files import sequences_dict, write_sequences
    from .sequences.orders import compare as planned
    from .sequences.orders import given_orders, trials_of

    source = _source(case, overrides)
    named = given_orders(orders)
    planner = planned(source, named, detail, equal_interpass)
    many = len(trials_of(source, named, detail, equal_interpass))
    return _answer(
        "sequences",
        source,
        planner,
        (detail or "coarse", (many, 0) if detail else (0, many)),
        shared,
        sequences_dict,
        lambda content: content["orders"],
        write_sequences,
    )


def find(
    case: PathLike,
    overrides: Iterable[str] = (),
    sure: float = 0.9,
    free: str = "",
    fix: str = "",
    seed: int = 0,
    detail: str = "coarse",
    **shared: Unpack[Shared],
) -> Answer[Settings]:
    """Find settings that survive the scatter of a real bench, the quickest first.

    Parameters
    ----------
    case, overrides : as for `read_case`
    sure : chance wanted that a bench succeeds, 0.5 to 0.99
    free, fix : keys to choose, and keys that stay, with commas between
    seed : of the search
    detail : mesh of the search
    **shared : see `Shared`

    Returns
    -------
    answer : a row a setting

    Raises
    ------
    CaseError
        The case or a key is refused.
    ValueError
        The chance is out of range.
    """
    from .find.files import find_dict, write_find
    from .find.plan import plan_of
    from .find.seek import seek

    source = _source(case, overrides)
    plan = plan_of(source, _sure(sure), free, fix, detail, seed)
    return _answer(
        "find",
        source,
        seek(plan),
        (detail, plan.least_runs),
        shared,
        find_dict,
        lambda content: content["picks"],
        write_find,
    )


def explain(
    case: PathLike,
    overrides: Iterable[str] = (),
    detail: str = "coarse",
    **shared: Unpack[Shared],
) -> Answer[Explained]:
    """Say which key mends each finding of a case, which way and by how much.

    Parameters
    ----------
    case, overrides : as for `read_case`
    detail : mesh of the search
    **shared : see `Shared`

    Returns
    -------
    answer : a row a lever

    Raises
    ------
    CaseError
        The case is refused.
    MarchError
        The case as it is could not be computed.
    """
    from .explain.explain import bounds
    from .explain.explain import explain as planned
    from .explain.files import explain_dict, write_explain

    source = _source(case, overrides)
    return _answer(
        "explain",
        source,
        planned(source, detail),
        (detail, bounds(source.case(), detail)[1]),
        shared,
        explain_dict,
        lambda content: content["levers"],
        write_explain,
    )


def calibrate(
    case: PathLike,
    measured: PathLike,
    overrides: Iterable[str] = (),
    fit: str | None = None,
    bounds: Sequence[str] = (),
    clock: bool = False,
    scatter: str = "40 K",
    reading_error: str = "0.3 mm",
    detail: str = "coarse",
    **shared: Unpack[Shared],
) -> Answer[Fits]:
    """Fit what is uncertain to what was measured.

    Parameters
    ----------
    case, overrides : as for `read_case`
    measured : file of thermocouples, of widths of beads, or of trials
    fit : names of the unknowns, with commas between
    bounds : "NAME=LOW:HIGH" texts
    clock : the record may have begun before or after the arc
    scatter : of trials, how much peaks differ from one to the next
    reading_error : of a width
    detail : mesh of the fit
    **shared : see `Shared`

    Returns
    -------
    answer : a row an unknown

    Raises
    ------
    CaseError
        The case, the file or a name is refused.
    MarchError
        A run failed.
    """
    from .asked import calibration_of
    from .calibration.files import calibration_dict, write_calibration

    source = _source(case, overrides)
    asked = calibration_of(
        source, Path(measured), fit, bounds, clock, scatter, reading_error, detail
    )

    def rows(content: Mapping[str, Any]) -> list[dict[str, Any]]:
        return [{"name": name} | told for name, told in content["fitted"].items()]

    return _answer(
        "calibration",
        source,
        asked.planner,
        (detail, asked.least),
        shared,
        calibration_dict,
        rows,
        write_calibration,
    )
