"""The form of a case, made from the case file's own tables, and its way to TOML and back.

A form is a dict of dotted keys ("tube.wall", "probe[2].height") to the text in each field. What has
no field, alloys of the user's own and keys that do not exist, is kept beside it as TOML (`more`).
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any

from pydantic.fields import FieldInfo

from ..case.alloys import builtin, builtin_names
from ..case.faults import CaseError
from ..case.file.depth import too_deep
from ..case.keys.fields import Entry, Of, OneOf, Order, Range
from ..case.keys.model import CaseFile
from ..case.keys.schema import LISTS, entry_at, table_at
from .words import in_page

__all__ = ["COMMON", "form", "raw_of", "toml_of", "values_of"]

COMMON = frozenset(
    (
        *("title", "tube.alloy", "tube.outside_diameter", "tube.wall"),
        *("flange.alloy", "flange.thickness", "flange.outside_diameter", "fillet.leg"),
        *("arc.current", "arc.length", "arc.spot", "arc.aim", "arc.work_angle"),
        *("arc.control", "arc.hold", "travel.speed", "travel.segment", "travel.pause"),
        *("travel.order", "travel.start", "travel.resume_below", "numerics.detail"),
    )
)
"""Keys that are always in sight; the others are folded away."""

FIELD = re.compile(r"([a-z_]+)(?:\[([1-9][0-9]?|100)\])?\.([a-z_]+)|title|joint")
NUMBER = re.compile(r"[+-]?(0|[1-9][0-9]*)(\.[0-9]+)?([eE][+-]?[0-9]+)?")
ALLOYED = ("tube.alloy", "flange.alloy", "fixture.chill_alloy")
FILLER = "fillet.filler"


def form() -> list[dict[str, Any]]:
    """Describe every table and field: label, help, what is allowed, default, choices."""
    top = [_field(key, CaseFile.model_fields[key]) for key in ("title", "joint")]
    tables = [{"name": "", "label": "Case", "help": "", "many": False, "fields": top}]
    for name, about in CaseFile.model_fields.items():
        many = name in LISTS
        table = table_at((name, 0) if many else (name,))
        if table is None:
            continue
        tables.append(
            {
                "name": name,
                "label": name.capitalize(),
                "help": about.description or "",
                "many": many,
                "fields": [_field(f"{name}.{k}", f) for k, f in table.model_fields.items()],
            }
        )
    return tables


def _field(key: str, about: FieldInfo) -> dict[str, Any]:
    entry = next((item for item in about.metadata if isinstance(item, Entry)), None)
    default = None if about.is_required() or about.default is None else _shown(about.default)
    choices: list[str] = []
    if isinstance(entry, OneOf | Order):
        choices = list(entry.words)
    elif key in (*ALLOYED, FILLER):
        fillers = {name for name in builtin_names() if builtin(name).shear_strength is not None}
        choices = sorted(fillers if key == FILLER else set(builtin_names()) - fillers)
    return {
        "key": key,
        "label": key.rpartition(".")[2].replace("_", " ").capitalize(),
        "help": in_page(about.description or ""),
        "allowed": entry.allowed if entry else "",
        "required": about.is_required(),
        "default": default or "",
        "example": _shown(about.examples[0]) if about.examples else "",
        "choices": choices,
        "closed": isinstance(entry, OneOf),
        "common": key in COMMON,
    }


def values_of(text: str) -> tuple[dict[str, str], str]:
    """Fields of a case file, and as TOML what has no field.

    Raises
    ------
    ValueError
        It is not TOML, or is nested too deep.
    """
    raw = _loaded(text)
    values: dict[str, str] = {}
    more: dict[str, Any] = {}
    for name, held in raw.items():
        if _is_leaf((name,), held):
            values[name] = _shown(held)
        elif name in LISTS and isinstance(held, list) and all(isinstance(e, dict) for e in held):
            good = len(held) <= 100 and all(
                _is_leaf((name, 0, k), v) for e in held for k, v in e.items()
            )
            if not good:
                more[name] = held
                continue
            for index, entry in enumerate(held, start=1):
                values |= {f"{name}[{index}].{k}": _shown(v) for k, v in entry.items()}
        elif isinstance(held, dict) and name not in LISTS and table_at((name,)):
            for key, value in held.items():
                if _is_leaf((name, key), value):
                    values[f"{name}.{key}"] = _shown(value)
                else:
                    more.setdefault(name, {})[key] = value
        else:
            more[name] = held
    return values, toml_of(more)


def _loaded(text: str) -> dict[str, Any]:
    if deep := too_deep(text):
        raise ValueError(f"line {deep[0]} is too deep: {deep[1]}")
    return tomllib.loads(text)


def _is_leaf(path: tuple[str | int, ...], value: Any) -> bool:
    """Whether it has a field of its own, that can hold such a value."""
    entry = entry_at(path)
    if entry is None or isinstance(value, dict | bool):
        return False
    lists = isinstance(entry, Order | Range) or path == ("bench", "hand")
    return lists if isinstance(value, list) else isinstance(value, str | int | float)


def raw_of(values: Mapping[str, str], more: str = "") -> dict[str, Any]:
    """Content of the case file that a filled-in form means; empty fields are left out.

    Raises
    ------
    CaseError
        A field does not exist, or what stands beside them is not TOML.
    """
    try:
        raw = _loaded(more)
    except ValueError as error:
        allowed = 'TOML: tables in [brackets] and lines such as wall = "0.065 in"'
        raise CaseError.one("case.toml", "more", more.strip(), allowed, str(error)) from None
    for key, text in values.items():
        if not text.strip():
            continue
        match = FIELD.fullmatch(key)
        if match is None:
            raise CaseError.one("case.toml", key, text, "a field of the form")
        table, index, name = match.groups()
        if table is None:
            raw[key] = text.strip()
            continue
        holder = raw.setdefault(table, [] if index else {})
        if index and isinstance(holder, list):
            holder += [{} for _ in range(int(index) - len(holder))]
            holder = holder[int(index) - 1]
        if not isinstance(holder, dict):
            raise CaseError.one("case.toml", key, text, f"nothing: {table} stands below as well")
        holder[name] = _value(entry_at((table, 0, name) if index else (table, name)), text.strip())
    return raw


def _value(entry: Entry | None, text: str) -> Any:
    """Value that a field's text means: a list, a plain number, or text."""
    if text.startswith("[") and not too_deep(text):
        try:
            return tomllib.loads(f"value = {text}")["value"]
        except ValueError:
            return text
    plain = isinstance(entry, Of) and not entry.kind.si and NUMBER.fullmatch(text)
    return float(text) if plain else text


def toml_of(raw: Mapping[str, Any]) -> str:
    """Write tables of plain values as TOML."""
    return "\n".join(_lines(raw, ())).strip("\n") + "\n" if raw else ""


def _lines(table: Mapping[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    deeper = {name: held for name, held in table.items() if _is_table(held, path)}
    yield from (f"{_key(name)} = {_literal(v)}" for name, v in table.items() if name not in deeper)
    for name, held in deeper.items():
        inner = (*path, name)
        head = ".".join(map(_key, inner))
        if isinstance(held, list):
            for entry in held:
                yield from ("", f"[[{head}]]", *_lines(entry, inner))
        else:
            yield from ("", f"[{head}]", *_lines(held, inner))


def _is_table(held: Any, path: tuple[str, ...]) -> bool:
    if len(path) > 1:  # a property of an alloy stays on its line
        return False
    return isinstance(held, dict) or (
        isinstance(held, list) and bool(held) and all(isinstance(entry, dict) for entry in held)
    )


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else _literal(name)


def _literal(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, list):
        return f"[{', '.join(map(_literal, value))}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{_key(k)} = {_literal(v)}' for k, v in value.items())} }}"
    return str(value)  # numbers, dates and times


def _shown(value: Any) -> str:
    """Text of a value in its field."""
    return value if isinstance(value, str) else _literal(value)
