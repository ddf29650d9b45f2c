"""The run of a pick on the case's own mesh: its row, and what such a run says besides."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ...case.file import CaseError
from ...outcomes.sentence import notes_of, sentence
from ...outcomes.wording import Wording
from ..runs.executors import Row
from ..runs.store import reads
from ..runs.trial import Trial, check_row, row_of, run_to

if TYPE_CHECKING:
    from ...api import Result

__all__ = ["Telling", "run_telling", "said_of"]

SAID = "also_look_at"


@dataclass(frozen=True)
class Telling(Trial):
    """A trial whose row holds sentences in the case's own units, so its key tells these too."""

    def key(self) -> str:
        """Key of the trial and of the units."""
        try:
            units = self.case().display
        except CaseError:
            return super().key()
        return f"{super().key()}-{units.length}-{units.temperature}"


def run_telling(trial: Telling) -> Row:
    """Run a trial; beside `row_of` its row holds what else to look at, a JSON list of sentences.

    They are in the case's own units, as `lapheat run` prints them.
    """
    return run_to(trial, _row)


def said_of(row: Row | None) -> tuple[str, ...]:
    """Sentences of a row of `run_telling`; none without a row, or in a row that holds none."""
    return () if row is None or SAID not in row else _sentences(row[SAID])


def _sentences(text: object) -> tuple[str, ...]:
    told = json.loads(str(text))
    if not isinstance(told, list) or json.dumps([*map(str, told)]) != text:
        raise ValueError(SAID)
    return tuple(told)


def _row(result: Result) -> Row:
    words, judgement = Wording.of(result.case), result.outcomes.verdict.judgement
    return row_of(result) | {SAID: json.dumps([*map(sentence, notes_of(judgement, words))])}


def _check(task: object, row: Row) -> None:
    check_row(task, row)
    _sentences(row[SAID])


reads(run_telling, _check)
