"""Which runs to make is one object, who makes them another: rounds of tasks, and their driver.

A study is a planner: a generator that yields whole rounds of tasks (it asks), gets their rows in
the tasks' order, and returns what it found. All studies have this one form, for three reasons. A
search deep inside a fit asks by `yield from` as the study itself does. What a study knows so far
stays in local names, not in states of a class. The type of what it finds is the generator's own.
A planner sees whole rounds only, never who ran them nor which run ended first, so it decides the
same on every machine, and after every cut.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass
from typing import Any, Generic, TypeVar

from .executors import Executor, Row, Work
from .store import RowFile, collect

__all__ = ["Count", "Planner", "Round", "drive"]

Task = TypeVar("Task")
Found = TypeVar("Found")

Count = Callable[[str, int, int], None]
"""Shows progress: what is being done, runs done, runs expected in all."""


@dataclass(frozen=True)
class Round(Generic[Task]):
    """Tasks to be done together, in any order.

    Attributes
    ----------
    doing : in a few words, for progress
    work : from a task to its row; a module's own function, so that other processes find it
    tasks : each with a `key()` if their rows are kept
    later : how many tasks are expected after these, as far as is known
    kept : their rows are kept in the store; else they are cheap, and done anew each time
    """

    doing: str
    work: Work[Task]
    tasks: Sequence[Task]
    later: int = 0
    kept: bool = True


Planner = Generator[Round[Any], list[Row], Found]


def drive(
    planner: Planner[Found], executor: Executor, store: RowFile, count: Count | None = None
) -> Found:
    """Run what a planner asks for until it is finished; what it found.

    Parameters
    ----------
    planner : fresh, not yet asked
    executor : where tasks are run
    store : keeps their rows; those it has are not run again
    count : called at the start of each round and after every row

    Raises
    ------
    Exception
        Whatever the planner raises.
    """
    done = 0
    try:
        asked = next(planner)
        while True:
            rows = _rows(asked, executor, store, done, count)
            done += len(asked.tasks) if asked.kept else 0
            asked = planner.send(rows)
    except StopIteration as end:
        found: Found = end.value
        return found


def _rows(
    asked: Round[Any], executor: Executor, store: RowFile, done: int, count: Count | None
) -> list[Row]:
    """Rows of a round, in the order of its tasks; `done` tasks came before it."""

    def told(finished: int, tasks: int) -> None:
        if count is not None:
            count(asked.doing, done + finished, done + tasks + asked.later)

    if asked.kept:
        return collect(executor, asked.work, asked.tasks, store, told)
    told(0, 0)
    found = dict(executor.run(asked.work, asked.tasks))
    return [found[index] for index in range(len(asked.tasks))]
