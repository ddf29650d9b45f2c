"""A fit that is none: how it is known, and which mistake would explain it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from ...case.case import Case
from ...case.file import CaseError, Fault
from ...constants import ZERO_CELSIUS
from ...march.expected import expected_of
from .fit import UNSURE, Fitted
from .measured import Readings
from .points import Curve

__all__ = [
    "GUESSES",
    "TIMES",
    "Guess",
    "check_length",
    "guesses",
    "pushed",
]

Array = NDArray[np.float64]

GUESSES = 2  # mistakes that are undone, each with a fit of its own
TIMES = 3.0  # that residuals may be larger than expected; a real arc is no exact Gaussian
HOUR = 3600.0  # [s] of cooling that a record may hold
LONGEST = 10.0  # times the case's own time, besides


def check_length(case: Case, readings: Readings) -> None:
    """Refuse a record far longer than its case: each run would follow all of it.

    Raises
    ------
    CaseError
        It is.
    """
    waits = case.travel.dwell_limit if case.travel.start == "on-flow" else 0.0
    expected = expected_of(case)
    takes = expected.total + expected.segments * waits
    last, most = float(readings.time[-1]), LONGEST * takes + HOUR
    if last > most:
        raise CaseError(
            [
                Fault(
                    "",
                    "time",
                    f"a last reading at {last:.6g} s",
                    f"at most {most:.0f} s: ten times the {takes:.0f} s of the case and an hour of "
                    "cooling, counted from the first arc",
                    "milliseconds under a heading of seconds? time of day? else cut the record",
                )
            ]
        )


def pushed(fitted: Sequence[Fitted]) -> tuple[str, ...]:
    """Sentences on unknowns that end on a bound although the measurements see them well."""
    return tuple(
        f"{item.unknown.name} ended on its bound, {item.unknown.shown(item.value)}"
        for item in fitted
        if item.at_bound and item.high - item.low < UNSURE * item.value
    )


@dataclass(frozen=True)
class Guess:
    """Readings as they would be if a mistake had been made: `words` say which."""

    words: str
    readings: Readings


def _mistakes(given: Readings) -> Iterator[Guess]:
    """Yield readings with likely mistakes undone: units, and each two probes swapped."""
    celsius = given.values - ZERO_CELSIUS
    for words, values in (
        ("degF under a heading of degC", (celsius - 32.0) / 1.8),
        ("degC under a heading of degF", 1.8 * celsius + 32.0),
        ("K under a heading of degC", celsius - ZERO_CELSIUS),
    ):
        yield Guess(f"the readings are {words}", replace(given, values=values + ZERO_CELSIUS))
    for i, j in combinations(range(len(given.names)), 2):
        order = list(range(len(given.names)))
        order[i], order[j] = j, i
        words = f'the probes "{given.names[i]}" and "{given.names[j]}" are swapped'
        yield Guess(words, replace(given, values=given.values[:, order]))


def guesses(curve: Curve, readings: Readings, start: float, most: int = GUESSES) -> list[Guess]:
    """Mistakes without which a computed curve has more of the shape of the readings, best first.

    Shapes are compared at the best factor on the rise, so that an unknown efficiency does not
    count: the share of the sum of squares that stays is the measure.

    Parameters
    ----------
    curve : of the case as it is
    readings : as measured
    start : temperature before the arc [K]
    most : guesses wanted
    """

    def unlike(given: Readings) -> float:
        there = np.isfinite(given.values)
        rise, seen = (curve.at(given.time) - start)[there], (given.values - start)[there]
        factor = float(rise @ seen) / max(float(rise @ rise), 1e-9)
        return float(np.sum((seen - factor * rise) ** 2) / max(float(seen @ seen), 1e-9))

    as_it_is = unlike(readings)
    scored = [(unlike(guess.readings), n, guess) for n, guess in enumerate(_mistakes(readings))]
    return [guess for score, _, guess in sorted(scored, key=lambda s: s[:2]) if score < as_it_is][
        :most
    ]
