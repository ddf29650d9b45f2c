"""The house keeps its shape: few rooms, few modules in each, none of them long."""

from __future__ import annotations

from pathlib import Path

import pytest

import lapheat
from house import numbers

LIMITS = {
    "modules at the top level": 3,
    "largest folder": 11,
    "layers": 12,
    "longest module": 400,
}


@pytest.mark.parametrize("what", LIMITS)
def test_the_house_keeps_its_shape(what: str) -> None:
    found = numbers(Path(lapheat.__file__).parent)[what]
    assert 0 < int(found.split()[0]) <= LIMITS[what], found
