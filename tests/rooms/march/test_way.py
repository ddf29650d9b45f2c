"""A march cut short after any step goes on to the same bytes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

import numpy as np
import pytest

from lapheat.case.case import Case
from lapheat.case.file import read_case_text
from lapheat.history.records import History
from lapheat.march.march import march
from lapheat.march.safety.way import Arrays, KeptError
from lapheat.march.steppers.compiled import CompiledStepper
from lapheat.problem.setup import job_of
from support.joints import CASE

HAND = (
    'travel.start="on-flow"',
    'arc.control="pedal"',
    "arc.hold=1250 degC",
    "travel.resume_below=500 degC",
    "travel.taper=0.5 s",
    "travel.overlap=2 mm",
    "arc.current=80 A",
    "travel.coverage=0.4",
)
CLOCK = (
    "travel.dwell=1 s",
    'fixture.chill_alloy="copper"',
    "fixture.chill_length=6 mm",
    "fixture.chill_wall=2 mm",
    "fixture.chill_conductance=1000 W/(m^2 K)",
    "travel.coverage=0.4",
)
PLACES = 6  # after which it is cut; after every third step it was tried once
TACK = """
[[tack]]
angle = "90 deg"
length = "3 mm"
current = "60 A"
time = "1 s"
[[probe]]
name = "near"
on = "tube"
angle = "30 deg"
height = "6 mm"
"""


@dataclass
class Cut:
    """Keeps the state after some step and ends the march there."""

    at: int
    begin: Arrays | None = None
    kept: Arrays | None = None
    written: int = 0

    def due(self) -> bool:
        self.written += 1
        return self.written == self.at

    def keep(self, arrays: Arrays) -> None:
        self.kept = arrays
        raise KeyboardInterrupt


def numbers(value: Any, name: str = "") -> Iterator[tuple[str, Any]]:
    """Every array and number of a record, by its name."""
    if is_dataclass(value):
        for field in fields(value):
            if field.name not in ("case", "problem", "wall_s"):
                yield from numbers(getattr(value, field.name), f"{name}.{field.name}")
    elif isinstance(value, dict):
        for key in value:
            yield from numbers(value[key], f"{name}.{key}")
    elif isinstance(value, tuple | list):
        for i, one in enumerate(value):
            yield from numbers(one, f"{name}.{i}")
    else:
        yield name, value


def run(case: Case, keeper: Cut | None) -> History:
    job = job_of(case)
    return march(job, CompiledStepper(job.problem, 1), keeper=keeper)


@pytest.mark.parametrize("sets", [HAND, CLOCK])
def test_goes_on_to_the_same_bytes(sets: tuple[str, ...]) -> None:
    text = CASE.format(od=12, plate=30, segment=8) + TACK
    case = read_case_text(text, "joint", sets)
    whole = dict(numbers(run(case, None)))
    for at in np.linspace(1, 0.9 * whole[".steps"], PLACES).astype(int):
        cut = Cut(at)
        with pytest.raises(KeyboardInterrupt):
            run(case, cut)
        assert cut.kept is not None
        found = dict(numbers(run(case, Cut(-1, begin=cut.kept))))
        assert found.keys() == whole.keys()
        for name, value in found.items():
            same = np.array_equal(value, whole[name], equal_nan=np.asarray(value).dtype.kind == "f")
            assert same, (at, name)


def test_arrays_of_another_march_are_refused() -> None:
    """Each array left out, cut short, of another kind or of strange numbers."""
    case = read_case_text(CASE.format(od=12, plate=30, segment=8) + TACK, "joint", HAND)
    cut = Cut(150)
    with pytest.raises(KeyboardInterrupt):
        run(case, cut)
    kept = dict(cut.kept or {})
    assert len(kept["read"]) > 1
    one = kept["record.rows"]
    spoilt: list[dict[str, Any]] = [{name: None} for name in kept]
    spoilt += [{"read": kept["read"][:-1]}, {"read": np.array(1.0)}, {"read": kept["read"][:0]}]
    spoilt += [{"record.rows": rows} for rows in (one[:-1], one[:0], one[:, :5], np.array(1.0))]
    spoilt += [{"record.rows": np.concatenate([one] * 99)}, {"state.h": kept["state.h"][:-1]}]
    spoilt += [{"record.samples": kept["record.samples"][:, 1:]}, {"hand.current": one}]
    spoilt += [{"record.steps": np.array(value)} for value in (np.nan, np.inf)]
    for changed in spoilt:
        begin = {name: array for name, array in (kept | changed).items() if array is not None}
        with pytest.raises(KeptError):
            run(case, Cut(-1, begin=begin))
