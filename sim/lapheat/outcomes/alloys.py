"""What a report must say of the alloys: properties used outside the range they are known for."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..case.case import Case
from ..history.records import History
from .verdict import filler_place, hottest_place
from .wording import listed

__all__ = ["held_notes", "highest"]

Array = NDArray[np.float64]


def highest(values: Array) -> float | None:
    """Highest finite value, None where there is none."""
    finite = values[np.isfinite(values)]
    return float(finite.max()) if finite.size else None


def held_notes(history: History, case: Case) -> tuple[str, ...]:
    """What `Alloy.held` says of each alloy over the temperatures it went through."""
    peaks: dict[str, list[float | None]] = {}
    peaks.setdefault(case.tube.alloy, []).append(hottest_place(history, "tube").peak)
    if case.fixture.chill is not None:
        peaks.setdefault(case.fixture.chill.alloy, []).append(history.chill_peak)
    if case.brazed is not None:
        peaks.setdefault(case.brazed.flange.alloy, []).append(hottest_place(history, "flange").peak)
        filler = filler_place(history)
        peaks.setdefault(case.brazed.fillet.filler, []).append(
            None if filler is None else filler.peak
        )
    coldest = case.surroundings.temperature
    grown = _growing(case)
    told = [
        sentence
        for name, tops in peaks.items()
        for sentence in case.alloys[name].held(
            coldest,
            max(top for top in [coldest, *tops] if top is not None),
            expansion=name in grown,
        )
    ]
    if case.flange is not None and not grown:
        missing = [
            name
            for name in dict.fromkeys((case.tube.alloy, case.flange.alloy))
            if case.alloys[name].expansion is None
        ]
        told.append(
            f"no expansion is known of {listed(missing)}: the clearance stays as it is cold"
        )
    return tuple(told)


def _growing(case: Case) -> set[str]:
    """Alloys whose expansion the hot clearance follows: those of tube and flange, or none."""
    if case.flange is None:
        return set()
    names = {case.tube.alloy, case.flange.alloy}
    return names if all(case.alloys[name].expansion is not None for name in names) else set()
