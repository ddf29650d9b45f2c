"""Runs at points of the unknowns, made in parallel and remembered: what a fit asks for."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

from ...march.errors import MarchError
from ..runs.executors import Executor, Row, Work
from ..runs.store import Keyed, RowFile, collect
from ..runs.trial import Source, Trial
from .unknowns import Unknown

__all__ = ["PointRuns", "Report"]

Report = Callable[[str, int, int], None]
Task = TypeVar("Task", bound=Keyed)


class PointRuns:
    """What a fit to histories and one to answers share.

    Parameters
    ----------
    source : the case
    unknowns : what changes
    detail : mesh of the runs
    executor, store : where they are run and kept
    report : called with what is being done, runs done and runs begun
    """

    def __init__(
        self,
        source: Source,
        unknowns: Sequence[Unknown],
        detail: str | None,
        executor: Executor,
        store: RowFile,
        report: Report | None = None,
    ) -> None:
        self.source, self.unknowns, self.detail = source, tuple(unknowns), detail
        self._executor, self._store = executor, store
        self._report, self._done = report, 0

    def inputs(self, values: Sequence[float]) -> tuple[tuple[str, str], ...]:
        """Keys of the unknowns and these values [SI], as text."""
        pairs = zip(self.unknowns, values, strict=True)
        return tuple((unknown.key, unknown.text(value)) for unknown, value in pairs)

    def rows(
        self, work: Work[Task], tasks: Sequence[Task], trials: Sequence[Trial], doing: str
    ) -> list[Row]:
        """Rows of tasks, each of a trial.

        Raises
        ------
        MarchError
            A run failed.
        """

        def told(done: int, count: int) -> None:
            if self._report is not None:
                self._report(doing, self._done + done, self._done + count)

        rows = collect(self._executor, work, tasks, self._store, told)
        self._done += len(tasks)
        for trial, row in zip(trials, rows, strict=True):
            if row.get("failed") is not None:
                at = ", ".join(f"{key} = {value}" for key, value in trial.inputs)
                raise MarchError(f"at {at}: {row['failed']}")
        return rows
