"""Tacks, chill and bench: their keys in a case file, and the `Case` side of them."""

from __future__ import annotations

from collections.abc import Iterator
from math import pi
from typing import Annotated

from ..case import Bench, Case, Chill, Fixture, Tack
from ..finding import Finding, Say
from ..units import ANGLE, CURRENT, FILM, LENGTH, TEMPERATURE, TIME, Quantity
from .fields import Entry, Of, Text
from .table import Table, key

__all__ = ["FixtureTable", "TackTable", "fixture_of", "of_held", "tack_of"]

CHILL_KEYS = ("chill_length", "chill_wall", "chill_conductance")
TOUCH = Of(FILM, above="0 W/(m^2 K)", high="50000 W/(m^2 K)")


class TackTable(Table):
    """A tack: filler in place before the first segment."""

    angle: Annotated[Quantity, Of(ANGLE, "-360 deg", "360 deg")] = key(
        description="Middle of the tack, measured as the angle of a probe.",
        examples=["90 deg"],
    )
    length: Annotated[Quantity, Of(LENGTH, "0.5 mm", "200 mm")] = key(
        description="Along the tube surface.", examples=["5 mm", "1/4 in"]
    )
    current: Annotated[Quantity | None, Of(CURRENT, "1 A", "1000 A")] = key(
        None,
        description="Current of a short arc that lays the tack before the first segment. Left "
        "out, with time: the tack is there, cold, at the start.",
        examples=["60 A"],
    )
    time: Annotated[Quantity | None, Of(TIME, "0.1 s", "60 s")] = key(
        None,
        description="How long that arc stays over the tack's middle; the rod is dabbed half-way.",
        examples=["3 s"],
    )


class FixtureTable(Table):
    """What holds the part and takes its heat."""

    chill_alloy: Annotated[str, Text("the name of an alloy")] = key(
        "copper",
        description="Of the heat-sink ring in the bore: built in, or one from [alloys.NAME].",
        examples=["copper"],
    )
    chill_length: Annotated[Quantity | None, Of(LENGTH, "1 mm", "500 mm")] = key(
        None,
        description="Length of the ring, its middle at the flange face (at the arc line of a "
        "bead-on-tube). Left out: no chill.",
        examples=["20 mm"],
    )
    chill_wall: Annotated[Quantity | None, Of(LENGTH, "0.2 mm", "200 mm")] = key(
        None,
        description="Thickness of the ring, at most the bore's radius: then it is a plug.",
        examples=["6 mm"],
    )
    chill_conductance: Annotated[Quantity | None, TOUCH] = key(
        None,
        description="From the ring to the bore it touches.",
        examples=["1000 W/(m^2 K)"],
    )
    bench_conductance: Annotated[Quantity | None, TOUCH] = key(
        None,
        description="From the flange's back to the bench or clamp it lies on. Left out: no bench.",
        examples=["300 W/(m^2 K)"],
    )
    bench_temperature: Annotated[Quantity | None, Of(TEMPERATURE, "-60 degC", "1000 degC")] = key(
        None,
        description="Of the bench. Left out: that of the surroundings.",
        examples=["20 degC"],
    )


def _number(given: Quantity | None) -> float | None:
    return None if given is None else float(given)


def tack_of(table: TackTable) -> Tack:
    """Tack from its table."""
    return Tack(
        float(table.angle), float(table.length), _number(table.current), _number(table.time)
    )


def fixture_of(table: FixtureTable, air: float) -> Fixture:
    """Fixture from its table; `air` is the temperature of the surroundings [K]."""
    length, wall, touch = (_number(getattr(table, name)) for name in CHILL_KEYS)
    chill = bench = None
    if length is not None and wall is not None and touch is not None:
        chill = Chill(table.chill_alloy, length, wall, touch)
    if table.bench_conductance is not None:
        warm = table.bench_temperature
        bench = Bench(float(table.bench_conductance), air if warm is None else float(warm))
    return Fixture(chill, bench)


def _allowed(table: type[Table], name: str) -> str:
    """What the key of a table takes, in words."""
    return next(x.allowed for x in table.model_fields[name].metadata if isinstance(x, Entry))


def of_held(table: FixtureTable, case: Case, say: Say) -> Iterator[Finding]:
    """Faults of tacks, chill and bench that no single key shows."""
    yield from _of_tacks(case, say)
    given = [name for name in CHILL_KEYS if getattr(table, name) is not None]
    if "chill_alloy" in table.model_fields_set or given:
        for name in CHILL_KEYS:
            if name not in given:
                hint = f"a chill needs {', '.join(CHILL_KEYS)}; without one leave them all out"
                yield Finding(("fixture", name), _allowed(FixtureTable, name), hint, "nothing")
    if case.fixture.chill is not None:
        yield from _of_chill(case, case.fixture.chill, say)
    bench = [name for name in ("bench_conductance", "bench_temperature") if getattr(table, name)]
    if bench and case.joint == "bead-on-tube":
        why = "nothing: a bead-on-tube has no flange to lie on a bench"
        for name in bench:
            yield Finding(("fixture", name), why, "leave it out")
    elif bench == ["bench_temperature"]:
        yield Finding(
            ("fixture", "bench_conductance"),
            TOUCH.allowed,
            "a bench needs it; without one leave out bench_temperature too",
            "nothing",
        )


def _of_chill(case: Case, chill: Chill, say: Say) -> Iterator[Finding]:
    bore = case.tube.radius - case.tube.wall
    if chill.wall > bore > 0.0:
        yield Finding(("fixture", "chill_wall"), f"at most the bore's radius, {say(bore)}")
    reach = case.tube.length * (1.0 if case.flange is None else 2.0)
    if chill.length > reach:
        yield Finding(
            ("fixture", "chill_length"),
            f"at most {say(reach)}: the ring's middle is at the joint and it stays in the tube",
        )


def _of_tacks(case: Case, say: Say) -> Iterator[Finding]:
    ring = case.tube.circumference
    for index, tack in enumerate(case.tacks):
        path = ("tack", index)
        if tack.length > ring:
            yield Finding((*path, "length"), f"at most the tube's circumference, {say(ring)}")
        for one, other in (("current", "time"), ("time", "current")):
            if getattr(tack, one) is not None and getattr(tack, other) is None:
                yield Finding(
                    (*path, other),
                    _allowed(TackTable, other),
                    "an arc that lays the tack has both; a tack already there has neither",
                    "nothing",
                )
        for before, earlier in enumerate(case.tacks[:index]):
            turn = abs(tack.angle - earlier.angle) % (2.0 * pi)
            apart = min(turn, 2.0 * pi - turn) * case.tube.radius
            if apart < 0.5 * (tack.length + earlier.length) * (1.0 - 1e-9):
                yield Finding(
                    (*path, "angle"), f"a place of its own: tack[{before + 1}] reaches into it"
                )
                break
