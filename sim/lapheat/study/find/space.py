"""One hand's settings and the bench's scatter as points of one space, and as cases to run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..chance.bench import Input, inputs_of
from ..chance.knob import Knob, features, settable
from ..chance.samples import sample_at
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
    source : the case with that hand
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

    def trial(self, inputs: tuple[tuple[str, str], ...], bench: Array, detail: str) -> Trial:
        """Run of settings on a bench (d,), in standard deviations of each input."""
        return sample_at(self.source, inputs, bench, detail).trial

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
    """Space of a hand.

    Raises
    ------
    CaseError
        The case has faults.
    """
    fixed, _ = HAND_KEYS[hand]
    led = Source(
        source.text, source.name, (*source.changes, *(f"{key}={value}" for key, value in fixed))
    )
    return Space(hand, led, hand_knobs(hand, knobs), inputs_of(led.case()))
