"""How a march that was cut short finds back to where it was.

Its place in the schedule is nowhere written down. The hand's way depends on the state only by what
it reads off it, so these numbers are kept. A march that goes on is taken along the same way with
them, computing nothing, until it is where the kept arrays belong.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

__all__ = ["UNFIT", "Arrays", "Keeper", "KeptError", "Way"]

Arrays = Mapping[str, NDArray[Any]]
# what arrays raise that are not what a march kept
UNFIT = (KeyError, IndexError, ValueError, TypeError, OverflowError)


class KeptError(Exception):
    """The kept arrays are not those of the march that is to go on from them."""


class Keeper(Protocol):
    """Where the state of a march is kept between times."""

    begin: Arrays | None  # what was kept of an earlier one, to go on from

    def due(self) -> bool:
        """Whether it is time to keep it again."""
        ...

    def keep(self, arrays: Arrays) -> None:
        """Keep it in the place of what was kept before; may end the march by an interrupt."""
        ...


class Way:
    """What has been read off the state on the way.

    Attributes
    ----------
    again : the way is still one that was gone before

    Raises
    ------
    KeptError
        The numbers that were read are not there.
    """

    def __init__(self, begin: Arrays | None) -> None:
        try:
            self._kept = [] if begin is None else [float(value) for value in begin["read"]]
        except UNFIT as error:
            raise KeptError from error
        self._seen: list[float] = []
        self.again = begin is not None

    def look(self, value: Callable[[], float]) -> float:
        """Read a number off the state, or as it was read then; an IndexError if it was not."""
        seen = self._kept[len(self._seen)] if self.again else value()
        self._seen.append(seen)
        return seen

    def taken(self, owners: Mapping[str, object]) -> Arrays:
        """Copy all that `owners` carry from step to step, by its name."""
        kept = {f"{owner}.{name}": np.array(getattr(of, name))
                for owner, of in owners.items() for name in _names(of)}  # fmt: skip
        return kept | {"read": np.array(self._seen)}

    def arrive(self, owners: Mapping[str, object], arrays: Arrays) -> None:
        """Give `owners` all of it back; from here on everything is computed.

        Raises
        ------
        KeyError, ValueError, TypeError, OverflowError
            The arrays are not those of this march.
        """
        for owner, of in owners.items():
            for name in _names(of):
                kept, now = arrays[f"{owner}.{name}"], getattr(of, name)
                if isinstance(now, np.ndarray):
                    if (now.shape, now.dtype) != (kept.shape, kept.dtype):
                        raise ValueError(f"{owner}.{name} is of another size")
                    now[...] = kept
                elif isinstance(now, list):
                    setattr(of, name, list(kept))
                else:
                    setattr(of, name, type(now)(kept.item()))
        self.again = False


def _names(owner: object) -> tuple[str, ...]:
    """Names of what an owner carries: all of a named tuple, else what its class lists."""
    named: Any = owner
    return tuple(named._fields if isinstance(owner, tuple) else named.KEPT)
