"""Rounds of runs about one setting: every key a step to either side, then what promises most."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ..runs.executors import Row
from ..runs.rounds import Planner, Round
from ..runs.trial import Source, Trial
from .levers import Lever, Setting, levers_of
from .measures import run_explained, slacks
from .model import Goal, Inputs, Model, Move, Tried

__all__ = ["Advice", "Pull", "Runs", "Search", "holds", "most_runs"]

Array = NDArray[np.float64]

ROUNDS = 4  # of larger steps and pairs
AFTER = 2  # more of them where the case's own mesh did not confirm
AT_ONCE = 4  # of them: the same on every machine, so that every machine finds the same
ATTEMPTS = 3  # to confirm on the case's own mesh
GAIN = 1.0  # [K] that must be foretold for another run
CLOSE = 15.0  # [K] short of the limits: the case's own mesh is asked all the same


@dataclass(frozen=True)
class Pull:
    """One lever moved by one step: `row` of its run."""

    lever: Lever
    to: Setting
    row: Row


@dataclass(frozen=True)
class Advice:
    """A change that was run on the case's own mesh.

    Attributes
    ----------
    goal : "limits", "margin" or "time"
    inputs : keys and settings
    row : of that run
    """

    goal: str
    inputs: Inputs
    row: Row

    @property
    def works(self) -> bool:
        """Whether base and filler hold."""
        return holds(self.row)


def holds(row: Row) -> bool:
    """Whether base and filler hold in a run."""
    return row.get("base_stays_solid") is True and row.get("filler_flows") is True


def most_runs(levers: int, goals: int) -> tuple[int, int]:
    """Runs of a search at most: at its detail, and on the case's own mesh to confirm."""
    rounds = ROUNDS + (ATTEMPTS - 1) * AFTER
    return 2 * levers + AT_ONCE * rounds, 2 * goals * ATTEMPTS


@dataclass
class Runs:
    """Runs of a case by what was changed, on the mesh of the search and on the case's own."""

    source: Source
    case: Case
    detail: str
    rows: dict[Inputs, Row] = field(default_factory=dict)
    own: dict[Inputs, Row] = field(default_factory=dict)

    def run(self, changes: Sequence[Inputs], doing: str, later: int = 0) -> Planner[None]:
        """Run changes on the mesh of the search."""
        trials = [Trial(self.source, inputs, self.detail) for inputs in changes]
        rows = yield Round(doing, run_explained, trials, later)
        self.rows |= dict(zip(changes, rows, strict=True))

    def confirm(self, changes: Sequence[Inputs], later: int = 0) -> Planner[None]:
        """Run changes on the case's own mesh."""
        new = [inputs for inputs in dict.fromkeys(changes) if inputs not in self.own]
        trials = [Trial(self.source, inputs, None) for inputs in new]
        rows = yield Round(f"{self.case.detail} mesh", run_explained, trials, later)
        self.own |= dict(zip(new, rows, strict=True))

    def values(self, row: Row) -> Array:
        """Slacks and total time, nan in a run that failed."""
        total = row.get("total_s")
        return np.append(slacks(row, self.case), np.nan if total is None else float(total))


class Search:
    """Search about one setting.

    Parameters
    ----------
    runs : made so far; those of the centre on both meshes are there
    centre : what is changed of the case already

    Attributes
    ----------
    model : what the runs say
    """

    def __init__(self, runs: Runs, centre: Inputs = ()) -> None:
        self.runs, self.centre = runs, centre
        row = runs.rows[centre]
        levers = levers_of(runs.source.case(tuple(f"{k}={v}" for k, v in centre)), row)
        self.model = Model(levers, runs.values(row))
        self._compare(Move())

    def inputs(self, move: Move) -> Inputs:
        """All that a move changes of the case."""
        return tuple((dict(self.centre) | dict(move.inputs)).items())

    def pull(self, later: int) -> Planner[tuple[Pull, ...]]:
        """Move each lever by one step to either side."""
        moves = [Move((lever,), (to,)) for lever in self.model.levers for to in lever.sides()]
        yield from self._run(moves, "one key at a time", later)
        rows = [self.runs.rows[self.inputs(move)] for move in moves]
        return tuple(
            Pull(move.levers[0], move.settings[0], row)
            for move, row in zip(moves, rows, strict=True)
            if row.get("failed") is None
        )

    def advise(self, goals: Sequence[Goal]) -> Planner[tuple[Advice, ...]]:
        """Search for the best single change and the best pair of each goal; single ones first."""
        found: dict[tuple[int, int], Advice] = {}
        for attempt in range(ATTEMPTS):
            left = [(keys, at) for keys in (1, 2) for at in range(len(goals))
                    if (keys, at) not in found]  # fmt: skip
            asked = [(goals[at], keys) for keys, at in left]
            yield from self._widen(asked, ROUNDS if attempt == 0 else AFTER)
            best = [self._best(goal, keys) for goal, keys in asked]
            changes = [self.inputs(move) for move in best if move is not None]
            yield from self.runs.confirm(changes)
            for place, (goal, _), move in zip(left, asked, best, strict=True):
                if move is not None:
                    self._compare(move)
                    row = self.runs.own[self.inputs(move)]
                    if self._gains(goal, row):
                        found[place] = Advice(goal.name, self.inputs(move), row)
            if len(found) == 2 * len(goals):
                break
        return tuple(found[place] for place in sorted(found))

    def nearest(self, goal: Goal) -> Inputs:
        """Of all that was run what comes nearest to a goal."""
        tried = max(self.model.tried, key=lambda tried: self.model.worth(tried, goal))
        return self.inputs(tried.move)

    def _run(self, moves: Sequence[Move], doing: str, later: int) -> Planner[None]:
        yield from self.runs.run([self.inputs(move) for move in moves], doing, later)
        self.model.tried += [
            Tried(move, self.runs.values(self.runs.rows[self.inputs(move)])) for move in moves
        ]

    def _widen(self, asked: Sequence[tuple[Goal, int]], rounds: int) -> Planner[None]:
        """Run larger steps and pairs while more is foretold than was found."""
        each = max(1, AT_ONCE // max(1, len(asked)))
        for number in range(rounds):
            moves: dict[Inputs, Move] = {}
            for goal, keys in asked:
                known = self._known(goal, keys)
                ahead = sorted(self.model.foretold(goal, keys), key=lambda pair: -pair[0])
                for worth, move in ahead[:each]:
                    if worth > known + GAIN:
                        moves[move.inputs] = move
            if not moves:
                return
            later = AT_ONCE * (rounds - number - 1) + len(asked)
            yield from self._run(list(moves.values()), "larger steps and pairs", later)

    def _known(self, goal: Goal, keys: int) -> float:
        """Highest worth of what was run with so many keys at most, nothing moved included."""
        nothing = Tried(Move(), self.model.base)
        mine = [tried for tried in self.model.tried if len(tried.move.levers) <= keys]
        return max(self.model.worth(tried, goal) for tried in (nothing, *mine))

    def _best(self, goal: Goal, keys: int) -> Move | None:
        """Best move that was not confirmed yet; None where none comes close to the limits.

        A pair must be worth more than a single key.
        """
        left = [
            (self.model.worth(tried, goal), tried.move)
            for tried in self.model.tried
            if len(tried.move.levers) == keys and self.inputs(tried.move) not in self.runs.own
        ]
        least = max(goal.hopeless, self._known(goal, keys - 1) + GAIN)
        close = [pair for pair in left if pair[0] > least]
        return max(close, key=lambda pair: pair[0])[1] if close else None

    def _compare(self, move: Move) -> None:
        """Take in by how much the case's own mesh differs at a move."""
        inputs = self.inputs(move)
        apart = self.runs.values(self.runs.own[inputs]) - self.runs.values(self.runs.rows[inputs])
        if not np.isnan(apart).any():
            self.model.own.append(Tried(move, apart))

    def _gains(self, goal: Goal, row: Row) -> bool:
        """Whether a run on the own mesh holds its limits and is better by what is sought."""
        if not holds(row):
            return False
        now, then = self.runs.values(row), self.runs.values(self.runs.own[self.centre])
        if goal.name == "time":
            return bool(now[-1] < then[-1] - 1.0)
        return goal.name == "limits" or bool(now[:-1].min() > then[:-1].min() + 1.0)
