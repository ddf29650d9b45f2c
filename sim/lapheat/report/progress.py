"""Where a march is, in one line: for the terminal and the page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ..case.case import Case
from ..constants import ZERO_CELSIUS

if TYPE_CHECKING:
    from ..march.march import Progress

__all__ = ["Stage"]


class Stage:
    """Words for the progress of a march, told after every step.

    Parameters
    ----------
    case : gives the solidus of tube and flange
    """

    def __init__(self, case: Case) -> None:
        self.solidus = {"tube": case.alloys[case.tube.alloy].solidus}
        if case.flange is not None:
            self.solidus["flange"] = case.alloys[case.flange.alloy].solidus
        self.start()

    def start(self, head: str = "") -> None:
        """Begin a run of the case; `head` is said before where it is."""
        self.head = head
        self.segment = self.finished = self.done = 0

    def follow(self, where: Progress) -> None:
        """Take note of a step."""
        if where.done > self.done:
            self.done, self.finished = where.done, self.segment
        self.segment = where.segment

    def text(self, where: Progress) -> str:
        """One line: segment, simulated time, hottest base against its solidus."""
        if where.done == where.count:
            doing = "cooling"
        elif where.segment == 0:
            doing = "tacks"
        elif where.segment == self.finished:
            doing = f"pause, {where.done} of {where.count} segments done"
        else:
            doing = f"segment {where.segment} ({where.done + 1} of {where.count})"
        return f"{self.head}{doing}, {where.time:.1f} s, {self.hottest(where)}"

    def hottest(self, where: Progress) -> str:
        """Part of the base nearest to melting now: "tube 1103 of 1400 degC"."""
        hot = {"tube": where.tube, "flange": where.flange}
        part = max(self.solidus, key=lambda name: hot[name] - (self.solidus[name] or 1e4))
        now, solidus = hot[part] - ZERO_CELSIUS, self.solidus[part]
        if solidus is None:
            return f"{part} {now:.0f} degC"
        return f"{part} {now:.0f} of {solidus - ZERO_CELSIUS:.0f} degC"
