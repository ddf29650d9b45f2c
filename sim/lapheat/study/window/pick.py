"""Which points of a window to set: the quickest and the safest that work, each tried on benches."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isfinite

from ..runs.executors import Row
from ..runs.rounds import Planner
from ..runs.standing import standing
from .map import MEASURES, Place, Sweep, slack
from .nearest import missed
from .tried import (
    AT_ONCE,
    BENCHES,
    Difference,
    Option,
    Picks,
    full,
    least,
    options_of,
    shifts_at,
    time_of,
    with_benches,
)

__all__ = ["after_map", "choose"]

TRIED = 8  # of the quickest points looked at at the case's own detail before giving up
LAST = 4  # of those that work on the map, and of the safest


def after_map(detail: str, own: str) -> tuple[int, int]:
    """Runs that may follow a map, at its own mesh, and at the case's where that is another."""
    tried = TRIED + 2 * LAST
    return tried + 2 * BENCHES, 0 if detail == own else 2 + tried


def choose(sweep: Sweep, known: Sequence[Difference]) -> Planner[Picks]:
    """Pick the shortest total time that keeps the case's margins, and the safest beside it.

    Parameters
    ----------
    sweep : the map
    known : from `tried.probe`
    """
    search = _Search(sweep, known)
    quick = yield from search.first(search.quick, TRIED, "confirming the quickest", 2 * BENCHES)
    if quick is None:  # those that work on the map, whatever is predicted
        quick = yield from search.first(search.likely, LAST, "confirming others", 2 * BENCHES)
    if quick is None:
        return Picks((yield from missed(sweep, search.options, search.looked)))
    why = search.why(quick, "the shortest total time of the points that work")
    first, _, _ = yield from with_benches(
        sweep, quick, why, "the quickest on fresh benches", later=BENCHES
    )
    assert first.benched is not None
    search.spread = first.benched.spread
    safe = yield from search.first(search.safe, LAST, "confirming the safest", BENCHES)
    if safe is None or safe.run.place == quick.run.place:
        return Picks(first, first)
    why = search.why(safe, "the farthest from failing, by what benches scatter")
    second, _, _ = yield from with_benches(sweep, safe, why, "the safest on fresh benches")
    assert second.benched is not None
    return Picks(first, first if first.benched.chance > second.benched.chance else second)


class _Search:
    """Settings that may be picked, and what is known of them in full."""

    def __init__(self, sweep: Sweep, known: Sequence[Difference]) -> None:
        self.sweep = sweep
        self.looked: dict[Place, Difference] = {d.run.place: d for d in known}
        self.options = options_of(sweep)
        self.spread = (1.0, 1.0)

    def good(self) -> list[Option]:
        """Settings that work, known or predicted."""
        return [option for option in self.options if least(option, self.looked) >= 0.0]

    def quick(self) -> list[Option]:
        """Those, the quickest first."""
        return sorted(self.good(), key=lambda o: (time_of(o.like.row), -least(o, self.looked)))

    def safe(self) -> list[Option]:
        """Those, the farthest from failing first, in standard deviations of the benches."""
        return sorted(self.good(), key=lambda o: (-self._room(o), time_of(o.like.row)))

    def likely(self) -> list[Option]:
        """Settings beside points that work on the map, whatever is predicted for the own mesh."""
        known = [o for o in self.options if o.place in self.looked and self._works(o)]
        works = [o for o in self.options if o.like.works and o.place not in self.looked]
        works.sort(key=lambda o: (-least(o, self.looked), time_of(o.like.row)))
        return [*known, *works]

    def _room(self, option: Option) -> float:
        row = option.like.row
        shifts = shifts_at(option.place, self.looked)
        if option.place in self.looked:
            row, shifts = self.looked[option.place].row, (0.0, 0.0)
        over = (slack(row, "margin_K"), slack(row, "filler_slack_K"))
        return min(
            (have + shift) / (max(by, 1.0) if isfinite(by) else 1.0)
            for have, shift, by in zip(over, shifts, self.spread, strict=True)
        )

    def first(
        self, ranked: Callable[[], list[Option]], most: int, doing: str, later: int
    ) -> Planner[Difference | None]:
        """First of a ranking that works in full; the ranking learns from each that was run."""
        spent = 0
        while True:
            order = ranked()
            sure = next((o for o in order if o.place in self.looked and self._works(o)), None)
            ahead = order if sure is None else order[: order.index(sure)]
            new = [o for o in ahead if o.place not in self.looked]
            if sure is not None and (not new or spent >= most):
                return self.looked[sure.place]
            if not new or spent >= most:
                return None
            for difference in (yield from full(self.sweep, new[:AT_ONCE], doing, later)):
                self.looked[difference.run.place] = difference
            spent += AT_ONCE

    def _works(self, option: Option) -> bool:
        row: Row = self.looked[option.place].row
        return all(row.get(flag) is True for flag in MEASURES)

    def why(self, known: Difference, head: str) -> str:
        """Say why a setting is picked."""
        row, detail = known.row, self.sweep.case.detail
        foretold = f" as {detail} predicts" if detail != self.sweep.plan.detail else ""
        told = standing(row, self.sweep.words)
        why = f"{head}{foretold}, {time_of(row):.0f} s: {told}, at {detail} detail"
        if row.get("filler_slack_K") is None:
            why += "; with no filler to melt nothing here asks for more heat, so the quickest wins"
        return why
