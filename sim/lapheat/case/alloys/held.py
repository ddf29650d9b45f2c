"""Sentences for properties that were used outside the range they were published for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from .property import Property

__all__ = ["held_sentences"]

NEAR: Final = 0.5  # [K] closer than this to a published range is inside it


def held_sentences(
    name: str, used: Sequence[tuple[str, Property, float, float]]
) -> tuple[str, ...]:
    """Plain sentences naming what was used outside its published range.

    Parameters
    ----------
    name : the alloy's
    used : label, property, and the lowest and highest temperature it was used at [K]
    """
    labels: dict[str, list[str]] = {}  # by what is to be said of them
    for label, values, low, high in used:
        if low < values.low - NEAR or high > values.high + NEAR:
            labels.setdefault(values.told, []).append(label)
    return tuple(
        f"{name} {_listed(names)} {'is' if len(names) == 1 else 'are'} {told}"
        for told, names in labels.items()
    )


def _listed(names: Sequence[str]) -> str:
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
