"""Levers and advice: one key at a time, then the best single change and the best pair.

First the case as it is; then each key that acts, one step to either side; then rounds of larger
steps, single keys and pairs, where the runs so far (`model`) promise most. What is best is run on
the case's own mesh. Where neither a single key nor a pair holds the limits, the same is done
again, twice at most, from the pair that comes nearest. The planner is a generator of rounds
(`runs.rounds`).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from ...case.case import Case
from ...march.errors import MarchError
from ..runs.executors import Row
from ..runs.rounds import Planner
from ..runs.trial import Source
from .levers import levers_of, most_levers
from .measures import Told, findings_of
from .model import Goal
from .search import Advice, Pull, Runs, Search, holds, most_runs

__all__ = ["Explained", "bounds", "explain"]

EXPECTED = 40  # runs in all, about
AGAIN = 2  # times from what comes nearest, where nothing holds the limits
SPARE = 20.0  # [K] more to spare is not sought
LEAST = 5.0  # [K] to spare where time is to be saved
# seconds are worth little where limits or margin are sought, all where time is
MEND = Goal("limits", SPARE, hopeless=-15.0, time=0.02)
BETTER = (Goal("margin", inf, time=0.05), Goal("time", 0.0, LEAST, time=1.0))


@dataclass(frozen=True)
class Explained:
    """What came of it.

    Attributes
    ----------
    case : as it was read
    detail : mesh of the search
    base, own : rows of the case as it is on that mesh and on its own
    findings : what fails there, the gravest first
    pulls : levers moved by one step, in the order of keys
    advice : the best first; where nothing holds the limits the one that comes nearest
    runs : on the mesh of the search, and finer
    """

    case: Case
    detail: str
    base: Row
    own: Row
    findings: tuple[Told, ...]
    pulls: tuple[Pull, ...]
    advice: tuple[Advice, ...]
    runs: tuple[int, int]

    @property
    def works(self) -> bool:
        """Whether the case keeps its limits as it is."""
        return holds(self.own)


def bounds(case: Case, detail: str) -> tuple[tuple[int, int], tuple[int, int]]:
    """Runs at most and at least, each at `detail` and at the case's own, if finer.

    At least the case as it is and each key that acts in any case; at most all attempts.
    """
    at, mending = most_runs(most_levers(case), 1)
    _, bettering = most_runs(0, len(BETTER))
    own = 1 + max((1 + AGAIN) * (mending + 1), bettering)
    pulls = sum(len(lever.sides()) for lever in levers_of(case, {}))
    finer = int(detail != case.detail)
    return (1 + (1 + AGAIN) * at, own * finer), (1 + pulls, finer)


def explain(source: Source, detail: str = "coarse") -> Planner[Explained]:
    """Find the levers of a case, and what mends it.

    Parameters
    ----------
    source : the case
    detail : mesh of the search

    Raises
    ------
    CaseError
        The case has faults.
    MarchError
        The case as it is could not be computed.
    """
    runs = Runs(source, source.case(), detail)
    yield from runs.run([()], "the case as it is", EXPECTED)
    yield from runs.confirm([()], EXPECTED)
    base, own = runs.rows[()], runs.own[()]
    for row in (base, own):
        if row.get("failed") is not None:
            raise MarchError(str(row["failed"]).removeprefix("the computation failed: "))
    search = Search(runs)
    pulls = yield from search.pull(EXPECTED // 2)
    advice = yield from search.advise(BETTER if holds(own) else (MEND,))
    for last in (False,) * AGAIN + (True,):
        if advice or holds(own):
            break
        centre = search.nearest(MEND)
        yield from runs.confirm([centre], 0 if last else EXPECTED // 2)
        if last or holds(runs.own[centre]):
            advice = (Advice(MEND.name, centre, runs.own[centre]),)
        else:
            search = Search(runs, centre)
            yield from search.pull(EXPECTED // 2)
            advice = yield from search.advise((MEND,))
    finer = 0 if detail == runs.case.detail else len(runs.own)
    return Explained(
        runs.case, detail, base, own, findings_of(own), pulls, advice, (len(runs.rows), finer)
    )
