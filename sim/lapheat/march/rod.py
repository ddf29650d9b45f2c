"""The filler rod: what is laid when, and the heat that melts it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..joint.schedule import Segment
from .state import State

__all__ = ["Rod"]

Array = NDArray[np.float64]


class Rod:
    """The rod of one segment: what is laid when, and the heat that melts it.

    A layer is laid `lead` layers ahead of the arc, as hot as the base there, and takes up the rest
    of its melting heat evenly until the arc is over it. Where a tack lies nothing is laid.
    """

    KEPT = ("missing", "laid", "left")

    def __init__(
        self, state: State, segment: Segment, layer_heat: float, flow: float, seconds: float
    ) -> None:
        numbers = np.arange(segment.first_layer, segment.last_layer)
        self.order = numbers[:: segment.direction]
        self.state, self.heat, self.flow, self.seconds = state, layer_heat, flow, seconds
        self.missing = np.asarray(~(state.alive[:, self.order] > 0.0).any(axis=0))
        self._power = layer_heat * len(numbers) / seconds
        mass = state.problem.grid.mass[state.problem.fillet_cells]
        self.share = mass / mass.sum() if len(mass) else mass
        here = state.rod[:, segment.first_layer : segment.last_layer]
        self._rod = here[:, :: segment.direction]
        self._middle = np.arange(len(numbers)) + 0.5
        self.laid = 0
        self.left = np.zeros(len(numbers))  # heat a layer still has to take up [J]

    def power(self, gone: float) -> float:
        """Heat that the rod takes off the arc after the share `gone` of the way [W].

        ``P = n Q / t``: n layers of the segment, Q the heat that melts one [J], t the time of
        travel [s] (heat balance). It is 0 where a tack already lies.
        """
        count = len(self.order)
        return self._power if self.missing[min(int(gone * count), count - 1)] else 0.0

    def feed(self, gone: float, lead: float, dt: float) -> float:
        """Lay what is due after the share `gone` of the way; returns heat given in `dt` [J].

        A layer is due when its middle is within `lead` layers of the arc. It comes with the heat
        of the base's temperature, ``Q_0``. The rest, ``Q - Q_0`` [J], goes in evenly over the whole
        steps until the arc is over its middle: ``left / max(1, round(steps to go))`` a step.
        """
        count = len(self.order)
        if not len(self.share):
            return 0.0
        here = gone * count
        due = min(int(here + lead + 0.5 + 1e-9), count)
        given = 0.0
        if due > self.laid:
            fresh = np.flatnonzero(self.missing[self.laid : due]) + self.laid
            if len(fresh):
                brought = self.state.lay(self.order[fresh], self.flow)
                self.left[fresh] = self.heat - brought
                given += float(brought.sum())
            self.laid = due
        # until the arc is over the layer's middle, in whole steps
        passing = (self._middle - here) * (self.seconds / count / dt)
        now = self.left / np.maximum(np.rint(passing), 1.0)
        np.multiply(self.share[:, None], now / dt, out=self._rod)
        self.left -= now
        return given + float(now.sum())
