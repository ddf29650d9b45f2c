"""Which order of segments keeps the joint coolest and most even: run them and rank them."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from ...case.case import ORDERS, Case
from ...case.file import CaseError
from ...constants import ZERO_CELSIUS
from ...outcomes.wording import Wording
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.standing import laid_share, part_of_ring, standing
from ..runs.store import numbers_of, reads
from ..runs.trial import Source, Trial, check_row, row_of, run_to

if TYPE_CHECKING:
    from ...api import Result

__all__ = ["Comparison", "Order", "Sequences", "compare", "given_orders", "run_order"]

EVEN = 5.0  # [K]: by how much a step or a mesh may move a spread
# Where all orders agree as closely, the order no longer matters for it.
SAME_START, SAME_PEAK = 10.0, 5.0  # [K]


def given_orders(text: str) -> tuple[str, ...]:
    """Orders of a list such as "opposite, [1, 4, 2, 5, 3, 6]"; none given: all that have a name.

    Their names and numbers are looked at when a case is read with them.
    """
    found = [part.strip() for part in re.findall(r"\[[^\]]*\]?|[^,;\[]+", text)]
    return tuple(dict.fromkeys(part for part in found if part)) or ORDERS


@dataclass(frozen=True)
class Order:
    """One order and the row of its run: as from `trial.row_of`, and more of `run_order`."""

    order: str
    row: Row

    @property
    def failed(self) -> str | None:
        """Say why there is no run, if there is none."""
        reason = self.row.get("failed")
        return None if reason is None else str(reason)

    @property
    def good(self) -> int:
        """How many of the two hold, the base solid and the filler flowing; -1 if it failed."""
        if self.failed is not None:
            return -1
        return int(self.row["base_stays_solid"] is True) + int(self.row["filler_flows"] is True)

    @property
    def works(self) -> bool:
        """Whether both hold."""
        return self.good == 2

    def number(self, name: str) -> float:
        """Number of the row, nan where there is none."""
        value = self.row.get(name)
        return float("nan") if value is None else float(value)

    def values(self, name: str) -> list[float]:
        """Numbers that `run_order` keeps as text."""
        return numbers_of(self.row, name)


@dataclass(frozen=True)
class Comparison:
    """Orders at one rhythm, the best first.

    Attributes
    ----------
    pick : the first if it works, else None
    why : one sentence
    same_starts : no order starts its segments hotter than another, by what matters
    same_peaks : nor does it peak higher or less evenly
    """

    orders: tuple[Order, ...]
    pick: Order | None
    why: str
    same_starts: bool
    same_peaks: bool


@dataclass(frozen=True)
class Sequences:
    """The orders at equal pause and, if asked for, at equal interpass (below `interpass` [K])."""

    case: Case
    pause: Comparison
    interpass: Comparison | None

    @property
    def notes(self) -> tuple[str, ...]:
        """What to know before the pick is used, in sentences."""
        told = part_of_ring(laid_share(self.case))
        return (told,) if told else ()


def run_order(trial: Trial) -> Row:
    """Run a trial; its row also holds the tube's peak round the ring and each segment's start.

    These are lists as JSON text: `ring_peak_C` a value a layer, from angle 0 on; of each segment
    in the order of running its number, `start_C` and `tube_peak_C`.
    """
    return run_to(trial, _row)


def _row(result: Result) -> Row:
    history, runs = result.history, result.outcomes.segments
    tube = [s.peak.max(axis=0) for name, s in history.surfaces.items() if name.startswith("tube")]
    ring = np.max(tube, axis=0) - ZERO_CELSIUS
    return row_of(result) | {
        "ring_peak_C": json.dumps([round(float(value), 2) for value in ring]),
        "numbers": json.dumps([run.number for run in runs]),
        "start_C": json.dumps([round(run.start_C, 3) for run in runs]),
        "segment_peak_C": json.dumps([_rounded(run.tube_peak_C) for run in runs]),
    }


def _check(task: Trial, row: Row) -> None:
    check_row(task, row)
    ring, *each = (
        numbers_of(row, name) for name in ("ring_peak_C", "numbers", "start_C", "segment_peak_C")
    )
    if not ring or {len(column) for column in each} != {row["segments"]}:
        raise ValueError("segments")


reads(run_order, _check)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 3)


def trials_of(
    source: Source, orders: Sequence[str], detail: str | None, interpass: bool = False
) -> list[Trial]:
    """Trials of the orders; at equal interpass without a pause but the wait for `resume_below`.

    Raises
    ------
    CaseError
        An order does not fit the case, or there is no `resume_below` to be equal at.
    """
    case = source.case((), detail)
    if interpass and case.travel.resume_below is None:
        raise CaseError.one(
            source.name,
            "travel.resume_below",
            "nothing",
            "a temperature, with --equal-interpass",
            'for example --set "travel.resume_below=150 degC"',
        )
    more = (("travel.pause", "0 s"),) if interpass else ()
    trials = [Trial(source, (("travel.order", order), *more), detail) for order in orders]
    for order, trial in zip(orders, trials, strict=True):
        try:
            trial.case()
        except CaseError as error:
            faults = [replace(f, file="--orders", given=order) for f in error.faults]
            raise CaseError(faults) from None
    return trials


def compare(
    source: Source, orders: Sequence[str], detail: str | None = None, interpass: bool = False
) -> Planner[Sequences]:
    """Run the orders and rank them.

    Parameters
    ----------
    source : the case
    orders : names or lists of segment numbers, as text
    detail : mesh; the case's own by default
    interpass : compare them at equal interpass too

    Raises
    ------
    CaseError
        As for `trials_of`.
    """
    sets = [trials_of(source, orders, detail)]
    if interpass:
        sets.append(trials_of(source, orders, detail, interpass=True))
    trials = [trial for trials in sets for trial in trials]
    rows = yield Round("orders", run_order, trials)
    found = [Order(order, row) for order, row in zip([*orders, *orders], rows, strict=False)]
    count = len(orders)
    case = source.case((), detail)
    below = case.travel.resume_below
    rhythm = "without a pause but the wait for a start point below "
    return Sequences(
        case,
        ranked(found[:count], "at equal pause"),
        ranked(found[count:], f"{rhythm}{Wording.of(case).hot(below)}")
        if interpass and below is not None
        else None,
    )


def ranked(orders: Sequence[Order], rhythm: str) -> Comparison:
    """Rank orders: what works first, then the evenness of segment peaks, then total time.

    Spreads within `EVEN` of the best count as equal, so that time decides between them.
    """
    left, best = list(orders), []
    while left:
        good = max(order.good for order in left)
        peers = [order for order in left if order.good == good]
        spreads = [order.number("spread_K") for order in peers]
        least = min((s for s in spreads if np.isfinite(s)), default=0.0)
        even = [
            order
            for order, spread in zip(peers, spreads, strict=True)
            if not np.isfinite(spread) or spread < least + EVEN
        ]
        first = min(even, key=lambda order: np.nan_to_num(order.number("total_s"), nan=np.inf))
        best.append(first)
        left.remove(first)
    pick = best[0] if best[0].works else None
    starts = _same(best, hottest_start_C=SAME_START)
    peaks = _same(best, tube_peak_C=SAME_PEAK, spread_K=SAME_PEAK)
    why = _why(best, pick, rhythm) + (_indifference(best, peaks) if starts else "")
    return Comparison(tuple(best), pick, why, starts, peaks)


def _same(orders: Sequence[Order], **limits: float) -> bool:
    """Say if no order differs from another by these limits, nor in what works."""
    if len(orders) < 2 or orders[0].failed is not None:
        return False
    if len({order.good for order in orders}) > 1:
        return False
    return all(
        float(np.ptp([order.number(name) for order in orders])) < limit
        for name, limit in limits.items()
    )


def _segments_apart(orders: Sequence[Order]) -> float:
    """Most by which the tube's peak in one and the same segment differs between orders [K]."""
    kept = [order for order in orders if "segment_peak_C" in order.row]
    if len(kept) < 2:
        return 0.0
    peaks = [
        [
            peak
            for _, peak in sorted(zip(o.values("numbers"), o.values("segment_peak_C"), strict=True))
        ]
        for o in kept
    ]
    return float(np.nanmax(np.ptp(peaks, axis=0)))


def _indifference(orders: Sequence[Order], peaks: bool) -> str:
    """Say that the order no longer matters, and for what."""
    starts = [order.number("hottest_start_C") for order in orders]
    low, high = f"{min(starts):.0f}", f"{max(starts):.0f}"
    told = f"the hottest starts at {low if low == high else f'{low} to {high}'} degC"
    apart = _segments_apart(orders)
    if peaks and apart < SAME_PEAK:
        return (
            f" For starts and peaks the order no longer matters: in all of them {told}, and all "
            "peak alike."
        )
    if peaks:
        return (
            f" For the hottest start and the highest peak the order no longer matters: in all of "
            f"them {told}; but single segments peak up to {apart:.0f} K apart from order to order."
        )
    names = ("tube_peak_C", "spread_K")
    left = max(float(np.ptp([order.number(name) for order in orders])) for name in names)
    return (
        f" For how warm a segment starts the order no longer matters: in all of them {told}; what "
        f"still tells them apart, up to {left:.0f} K in peak or spread, comes from where a run "
        "meets filler already laid."
    )


def _why(orders: Sequence[Order], pick: Order | None, rhythm: str) -> str:
    """Say which order, and why, in one sentence."""
    first = orders[0]
    if pick is None:
        if first.failed is not None:
            return f"No order could be computed {rhythm}: {first.failed}."
        return (
            f"No order works {rhythm}: {first.order} comes nearest; {standing(first.row)}; its "
            f"segments' tube peaks are {first.number('spread_K'):.0f} K apart."
        )
    head = f"{first.order[0].upper()}{first.order[1:]} {rhythm}: {standing(first.row)}"
    numbers = f"{first.number('spread_K'):.0f} K apart in {first.number('total_s'):.0f} s"
    rivals = [order for order in orders[1:] if order.works]
    if not rivals:
        alone = "the only order that works" if len(orders) > 1 else "the only order run"
        return f"{head}; it is {alone}, with its segments' tube peaks {numbers}."
    second = rivals[0]
    near = second.number("spread_K") < first.number("spread_K") + EVEN
    reason = f"the quickest order within {EVEN:.0f} K of the most even" if near else "the most even"
    return (
        f"{head}; its segments' tube peaks are {numbers}, {reason}; next comes "
        f"{second.order} with {second.number('spread_K'):.0f} K in "
        f"{second.number('total_s'):.0f} s."
    )
