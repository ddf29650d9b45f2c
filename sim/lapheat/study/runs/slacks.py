"""What an outcome that decides has left to its limit, under its name in `outcomes.json`."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isnan
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ...case.case import Limits

__all__ = ["LABELS", "Slack", "slacks_of"]

LABELS = {
    "tube.margin_K": "tube margin",
    "flange.margin_K": "flange margin",
    "filler.tube_side_surplus_K": "tube side surplus",
    "filler.flange_side_surplus_K": "flange side surplus",
    "filler.stretch_surplus_K": "stretch surplus",
    "filler.superheat_K": "filler superheat",
    "soundness.lap_filled": "lap filled",
}
"""Outcomes that a limit is held against, for a person."""


@dataclass(frozen=True)
class Slack:
    """What an outcome has over its limit [K]; below 0 it fails. A lap counts 1 K a per cent.

    `limit` is its key in a case file; `wanted` is in the outcome's unit.
    """

    outcome: str
    limit: str
    kelvin: float
    wanted: float

    @property
    def binds(self) -> bool:
        """Whether it may be the nearest: a lap that fills enough cannot fill more than whole."""
        return self.kelvin < 0.0 or self.limit != "limits.lap_filled"


def slacks_of(value: Callable[[str], float | None], limits: Limits) -> Iterator[Slack]:
    """Hold the outcomes of a run against the limits of its case.

    Parameters
    ----------
    value : of an outcome in `LABELS`; None where the joint does not have it, or cannot (an alloy
        that never melts): it is left out. So is one that the case has no limit for
    limits : of the case

    Yields
    ------
    slack : in the order of `LABELS`
    """
    for outcome in LABELS:
        limit, wanted, sign = _limit(outcome, limits)
        found = None if wanted is None else value(outcome)
        if wanted is not None and found is not None and not isnan(found):
            yield Slack(outcome, f"limits.{limit}", sign * (found - wanted), wanted)


def _limit(outcome: str, limits: Limits) -> tuple[str, float | None, float]:
    """Key of a limit, what it wants, and what more of it is worth [K]."""
    match outcome:
        case "tube.margin_K" | "flange.margin_K":
            return "base_margin", limits.base_margin, 1.0
        case "filler.stretch_surplus_K":
            return "dry_length", limits.flow_margin, 1.0
        case "filler.superheat_K":
            return "filler_superheat", limits.filler_superheat, -1.0
        case "soundness.lap_filled":
            return "lap_filled", limits.lap_filled or None, 100.0
    return "wet_fraction", limits.flow_margin, 1.0
