"""What a search is asked, and the faults of what is asked, all at once."""

from __future__ import annotations

from dataclasses import dataclass

from ...case.case import ORDERS, Case
from ...case.file import CaseError
from ..chance.bench import benches_for
from ..runs.trial import Source
from .knobs import Knob, key_faults, knobs_of

__all__ = ["ORDER", "Effort", "FindPlan", "plan_of"]

ORDER = "travel.order"


@dataclass(frozen=True)
class Effort:
    """How much is run.

    Attributes
    ----------
    first : runs of each hand to begin with
    rounds : of more runs, at most, before the first pick is put to the test
    more : rounds that all failed picks together add to them, at most
    looks : runs of a round, over all hands that are left
    fresh : benches that confirm a pick
    lot : of them, run at once; a pick is given up when more failed than the chance wanted allows
    tries : picks to put to the test, at most
    candidates : settings that the responses are asked about
    """

    first: int = 32
    rounds: int = 5
    more: int = 10
    looks: int = 18
    fresh: int = 48
    lot: int = 16
    tries: int = 5
    candidates: int = 2048


@dataclass(frozen=True)
class FindPlan:
    """What is asked.

    Attributes
    ----------
    source : the case as it was read
    case : read from it
    knobs : what is free, over all hands
    orders : of segments, besides the case's own
    hands : to choose from
    sure : chance of success wanted
    detail : mesh of the search
    seed : of its points
    effort : how much is run
    """

    source: Source
    case: Case
    knobs: tuple[Knob, ...]
    orders: tuple[str, ...]
    hands: tuple[str, ...]
    sure: float
    detail: str
    seed: int
    effort: Effort = Effort()

    @property
    def least_runs(self) -> tuple[int, int]:
        """Runs at least: at the search's detail, and at the case's own."""
        return self.effort.first * len(self.hands), 0

    @property
    def fresh(self) -> int:
        """Benches that confirm a pick: the surer it must be, the more."""
        return benches_for(self.sure, self.effort.fresh)

    @property
    def free(self) -> tuple[str, ...]:
        """Every key that is free."""
        return (*(knob.key for knob in self.knobs), *([ORDER] if self.orders else []))


def _without_order(text: str) -> tuple[str, bool]:
    """Keys but for the order, and whether that was among them."""
    parts = [part.strip() for part in text.split(",") if part.strip()]
    return ",".join(part for part in parts if part != ORDER), ORDER in parts


def plan_of(
    source: Source,
    sure: float,
    free: str = "",
    fix: str = "",
    detail: str = "coarse",
    seed: int = 0,
) -> FindPlan:
    """Plan for a case; see `FindPlan` and `knobs.knobs_of`.

    Raises
    ------
    CaseError
        The case has faults, or what is free does; all of them.
    """
    keys, turned = _without_order(free)
    fixed, kept = _without_order(fix)
    try:
        case = source.case()
    except CaseError as error:
        raise CaseError([*error.faults, *key_faults(keys, fixed, ORDER)]) from error
    if free.strip() and not keys:
        raise CaseError.one("--free", ORDER, free, "another key besides: an order alone is a case")
    knobs = knobs_of(case, keys, fixed, ORDER)
    turned = not kept and (turned or not keys)
    orders = tuple(order for order in ORDERS if order != case.travel.order) if turned else ()
    return FindPlan(source, case, knobs, orders, case.choice.hands, sure, detail, seed)
