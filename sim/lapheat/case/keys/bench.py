"""`[bench]`: what `lapheat find` may choose from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic.json_schema import JsonSchemaValue

from ..case import HANDS
from ..faults import did_you_mean
from ..units import CURRENT, LENGTH, SPEED, Quantity
from .fields import Entry, Range, refuse
from .table import Table, key

__all__ = ["BenchTable", "Hands"]


@dataclass(frozen=True)
class Hands(Entry):
    """One hand, or a list of them."""

    @property
    def allowed(self) -> str:
        """The words."""
        words = ", ".join(f'"{word}"' for word in HANDS)
        return f"{words}, or a list of them"

    @property
    def schema(self) -> JsonSchemaValue:
        """One word or a list."""
        word = {"type": "string", "enum": list(HANDS)}
        listed = {"type": "array", "items": word, "minItems": 1, "uniqueItems": True}
        return {"anyOf": [word, listed]}

    def read(self, given: Any) -> tuple[str, ...]:
        """The hands, in their own order."""
        words = [given] if isinstance(given, str) else given
        if not isinstance(words, list | tuple) or not words:
            raise refuse(self.allowed)
        for word in words:
            if word not in HANDS:
                raise refuse(self.allowed, did_you_mean(str(word), HANDS))
        return tuple(hand for hand in HANDS if hand in words)


class BenchTable(Table):
    """What `lapheat find` may choose from. Nothing here changes a run."""

    # common practice, no source: a small TIG source on tube up to 2 mm thick
    current_range: Annotated[tuple[Quantity, ...], Range(CURRENT, "1 A", "1000 A")] = key(
        ["20 A", "150 A"], description="Currents to choose from.", examples=[["20 A", "120 A"]]
    )
    # common practice, no source: what a hand can hold steady
    speed_range: Annotated[tuple[Quantity, ...], Range(SPEED, "0.05 mm/s", "200 mm/s")] = key(
        ["1 mm/s", "4 mm/s"],
        description="Travel speeds to choose from.",
        examples=[["1 mm/s", "3 mm/s"]],
    )
    # common practice, no source
    segment_range: Annotated[tuple[Quantity, ...], Range(LENGTH, "1 mm", "1600 mm")] = key(
        ["8 mm", "30 mm"],
        description="Segment lengths to choose from.",
        examples=[["10 mm", "25 mm"]],
    )
    hand: Annotated[tuple[str, ...], Hands()] = key(
        ["clock", "flow", "pedal"],
        description="How the arc is led: by the clock, waiting for flow, or waiting for flow with "
        "a pedal.",
        examples=["pedal"],
    )
