"""Which levers serve what: each finding's own; of a case that works, its spare and its time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from .explain import Explained
from .measures import asked, slacks
from .search import Pull, holds

__all__ = ["SPARE", "TIME", "Group", "groups_of"]

SPARE, TIME = "spare", "time.total_s"
LEAST = 1.0  # [K], [s] or per cent: less is no gain


@dataclass(frozen=True)
class Group:
    """Levers that serve one thing, the strongest first.

    Attributes
    ----------
    finding : name in `outcomes.json` of the measure that fails; "spare" for the least of all that
        is left to a limit, "time.total_s" for time saved
    head : for people
    pulls : the better side of each lever, and what it gains [K], [s], of the lap in per cent
    """

    finding: str
    head: str
    pulls: tuple[tuple[Pull, float], ...]


def groups_of(found: Explained) -> tuple[Group, ...]:
    """Levers of each finding; of a case that works those for more to spare and less time."""
    if found.works:
        return tuple(_working(found))
    return tuple(_failing(found))


def _failing(found: Explained) -> Iterator[Group]:
    measures = asked(found.case)
    base = slacks(found.base, found.case)
    for told in found.findings:
        place = next(i for i, m in enumerate(measures) if m.finding == told.finding)
        gains = [
            (pull, float(slacks(pull.row, found.case)[place] - base[place])) for pull in found.pulls
        ]
        yield Group(told.finding, f"What mends the {measures[place].word}", _best(gains))


def _working(found: Explained) -> Iterator[Group]:
    least = float(slacks(found.base, found.case).min())
    spare = [(p, float(slacks(p.row, found.case).min()) - least) for p in found.pulls]
    yield Group(SPARE, "What leaves more to spare", _best(spare))
    total = float(found.base["total_s"] or 0.0)
    saved = [(p, total - float(p.row["total_s"] or 0.0)) for p in found.pulls if holds(p.row)]
    yield Group(TIME, "What saves time and still holds", _best(saved))


def _best(gains: list[tuple[Pull, float]]) -> tuple[tuple[Pull, float], ...]:
    """The better side of each lever that gains anything, the strongest first."""
    best: dict[str, tuple[Pull, float]] = {}
    for pull, gain in gains:
        key = pull.lever.key
        if gain >= LEAST and (key not in best or gain > best[key][1]):
            best[key] = pull, gain
    return tuple(sorted(best.values(), key=lambda pair: -pair[1]))
