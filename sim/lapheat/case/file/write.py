"""`Case` -> the text of a case file that runs again as it is; the starter case."""

from __future__ import annotations

import json
from collections.abc import Iterator
from hashlib import sha256
from importlib.resources import files
from itertools import groupby

from ..alloys import Alloy, Property, builtin_names
from ..case import Case
from ..units import (
    CARBON,
    CONDUCTIVITY,
    DENSITY,
    EXPANSION,
    LATENT_HEAT,
    SPECIFIC_HEAT,
    STRESS,
    TEMPERATURE,
    Kind,
    rounded,
    write_quantity,
)
from .every_key import Setting, settings_of

__all__ = ["case_to_toml", "digest_of", "starter_text"]

DIGITS = 12  # of a digest, hexadecimal: enough to tell apart what a shop will ever run


def starter_text() -> str:
    """A commented case to start from, with every key."""
    return files(__package__).joinpath("starter.toml").read_text("utf-8")


def case_to_toml(case: Case, as_written: bool = False) -> str:
    """Write every key of a resolved case.

    Reading it back gives an equal case. Values are in mm, mm/s, s, A, V, degC; only the tube's
    diameter and the air's temperature keep the units the user wrote in, which records them.

    Parameters
    ----------
    case : resolved
    as_written : quantities that were written keep their text, such as "2.5 in/min"
    """
    lines = ["# Resolved by Lapheat: every key, defaults filled in."]
    for table, rows in groupby(settings_of(case), key=lambda row: row.key.rpartition(".")[0]):
        if table.endswith("]"):
            lines += ["", f"[[{table.partition('[')[0]}]]"]
        elif table:
            lines += ["", f"[{table}]"]
        lines += [_line(row, case, as_written) for row in rows]
    for name, alloy in case.alloys.items():
        if name not in builtin_names():
            lines += ["", f"[alloys.{_text(name)}]", *_alloy_lines(alloy)]
    return "\n".join(lines) + "\n"


def digest_of(case: Case) -> str:
    """First `DIGITS` digits of the SHA-256 of the resolved case.toml."""
    return sha256(case_to_toml(case).encode()).hexdigest()[:DIGITS]


def _line(row: Setting, case: Case, as_written: bool) -> str:
    key, value = row.key.rpartition(".")[2], row.value
    if value is None:
        return f"# {key}: none"
    if isinstance(value, tuple):
        kind = row.kind
        items = (
            (_text(v) if isinstance(v, str) else str(v))
            if kind is None or isinstance(v, str)
            else _quantity(v, kind)
            for v in value
        )
        return f"{key} = [{', '.join(items)}]"
    if isinstance(value, str) or row.kind is None:
        return f"{key} = {_text(str(value))}"
    if row.key.startswith("arc.") and key in case.arc.derived:
        return f"# {key}: {write_quantity(value, row.kind)}, from arc.length"
    if row.key == "arc.voltage" and not case.arc.voltage_measured:
        return f"# {key}: {write_quantity(value, row.kind)}, by convention, not measured"
    written = case.written.get(row.key) if as_written and row.kind.si else None
    if written and written != write_quantity(value, row.kind):
        return f"{key} = {_text(written)}  # {write_quantity(value, row.kind)}"
    theirs = {
        "tube.outside_diameter": case.display.length,
        "surroundings.temperature": case.display.temperature,
    }.get(row.key, row.kind.resolved)
    if theirs == row.kind.resolved:
        return f"{key} = {_quantity(value, row.kind)}"
    return f"{key} = {_quantity(value, row.kind, theirs)}  # {write_quantity(value, row.kind)}"


def _quantity(value: float, kind: Kind, unit: str | None = None) -> str:
    text = write_quantity(value, kind, unit)
    return _text(text) if kind.si else text


def _text(text: str) -> str:
    """TOML string: JSON's escapes, and DEL, which JSON leaves."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _alloy_lines(alloy: Alloy) -> Iterator[str]:
    yield f"density = {_quantity(alloy.density, DENSITY)}"
    yield f"conductivity = {_property(alloy.conductivity, CONDUCTIVITY)}"
    yield f"specific_heat = {_property(alloy.specific_heat, SPECIFIC_HEAT)}"
    if alloy.solidus is not None and alloy.liquidus is not None and alloy.latent_heat is not None:
        yield f"solidus = {_quantity(alloy.solidus, TEMPERATURE)}"
        yield f"liquidus = {_quantity(alloy.liquidus, TEMPERATURE)}"
        yield f"latent_heat = {_quantity(alloy.latent_heat, LATENT_HEAT)}"
    yield f"emissivity = {alloy.emissivity!r}"
    if alloy.expansion is not None:
        coefficient = alloy.expansion.pieces[0].coefficients[1]
        yield f"expansion = {_quantity(coefficient, EXPANSION)}"
    for name in ("yield_strength", "shear_strength"):
        strength = getattr(alloy, name)
        if strength is not None:
            yield f"{name} = {_quantity(strength, STRESS)}"
    if alloy.carbon is not None:
        yield f"carbon = {_quantity(alloy.carbon, CARBON)}"
    for key, value in (("a1", alloy.a1), ("a3", alloy.a3)):
        if value is not None:
            yield f"{key} = {_quantity(value, TEMPERATURE)}"


def _property(given: Property, kind: Kind) -> str:
    """One quantity, or the table a user's property was made from."""
    first = given.pieces[0].coefficients
    if len(given.pieces) == 1 and len(first) == 1:
        return _quantity(first[0], kind)
    temperatures = [*(piece.low for piece in given.pieces), given.high]
    values = [*(piece.coefficients[0] for piece in given.pieces), rounded(given(given.high))]
    points = ", ".join(_quantity(T, TEMPERATURE) for T in temperatures)
    numbers = ", ".join(_quantity(value, kind) for value in values)
    return f"{{ temperature = [{points}], value = [{numbers}] }}"
