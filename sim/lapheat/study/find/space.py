"""One hand's settings and the bench's scatter as points of one space, and as cases to run."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...case.file import case_to_toml
from ...case.units import read_quantity
from ..chance.bench import Input, inputs_of
from ..chance.knob import Knob, features, settable
from ..runs.trial import Source, Trial
from .knobs import HAND_KEYS, hand_knobs

__all__ = ["Space", "space_of"]

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Space:
    """What can be set and what varies under one hand.

    Attributes
    ----------
    hand : "clock", "flow" or "pedal"
    source : the case with that hand, written out whole
    knobs : what is free
    inputs : what varies on a bench
    """

    hand: str
    source: Source
    knobs: tuple[Knob, ...]
    inputs: tuple[Input, ...]

    @property
    def size(self) -> tuple[int, int]:
        """Number of knobs and of inputs."""
        return len(self.knobs), len(self.inputs)

    def settable(self, shares: Array) -> tuple[Array, tuple[tuple[str, str], ...]]:
        """Nearest settings of shares (k,) of the ranges, as shares and as keys with texts."""
        return settable(self.knobs, shares)

    def trial(self, inputs: tuple[tuple[str, str], ...], bench: Array, detail: str | None) -> Trial:
        """Run of settings on a bench (d,), in standard deviations of each input.

        A key that is set and that varies too is written once, as it comes out on the bench.
        """
        keys = {entry.key for entry in self.inputs}
        set_ = [(key, text) for key, text in inputs if key not in keys]
        varied = [
            (entry.key, entry.text(float(z)))
            for entry, z in zip(self.at(inputs), bench, strict=True)
        ]
        return Trial(self.source, (*set_, *varied), detail)

    def at(self, inputs: tuple[tuple[str, str], ...]) -> tuple[Input, ...]:
        """Inputs about the settings that were chosen."""
        texts = dict(inputs)
        found = []
        for entry in self.inputs:
            knob = next((k for k in self.knobs if k.key == entry.key), None)
            if knob is None:
                found.append(entry)
            else:
                value = float(read_quantity(texts[entry.key], knob.kind))
                found.append(replace(entry, value=value))
        return tuple(found)

    def features(self, shares: Array, bench: Array) -> Array:
        """Points that a response is fitted over, (n, features).

        A knob counts with what the bench makes of it, an input that is no knob by its scatter.

        Parameters
        ----------
        shares : (n, knobs) of the ranges
        bench : (n, inputs) standard deviations
        """
        return features(self.knobs, self.inputs, shares, bench)


def space_of(source: Source, hand: str, knobs: tuple[Knob, ...]) -> Space:
    """Space of a hand; the case is written out whole, so that what is left alone stays as it is.

    What the pedal's range is by default follows the current that is set.

    Raises
    ------
    CaseError
        The case has faults.
    """
    fixed, _ = HAND_KEYS[hand]
    case = source.case(tuple(f"{key}={value}" for key, value in fixed))
    text = case_to_toml(case)
    if "arc.current_range" not in case.written:
        before, arc, after = text.partition("\n[arc]\n")
        text = before + arc + re.sub(r"^current_range = .*\n", "", after, count=1, flags=re.M)
    whole = Source(text, source.name)
    return Space(hand, whole, hand_knobs(hand, knobs), inputs_of(case))
