"""What belongs where in a case file: look-ups by path, and the JSON schema for editors."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from pydantic.fields import FieldInfo

from .bench import BenchTable
from .fields import Entry
from .model import (
    AlloyTable,
    ArcTable,
    CaseFile,
    ConductivityTable,
    FilletTable,
    FixtureTable,
    FlangeTable,
    LapTable,
    LimitsTable,
    NumericsTable,
    ProbeTable,
    ScaleTable,
    ScatterTable,
    SpecificHeatTable,
    SuppliesTable,
    SurroundingsTable,
    Table,
    TackTable,
    TravelTable,
    TubeTable,
)

__all__ = ["LISTS", "case_schema", "entry_at", "every_key", "table_at"]

LISTS = ("probe", "tack")  # tables of which there may be many

_TABLES: dict[str, type[Table]] = {
    "tube": TubeTable,
    "flange": FlangeTable,
    "lap": LapTable,
    "fillet": FilletTable,
    "arc": ArcTable,
    "travel": TravelTable,
    "tack": TackTable,
    "fixture": FixtureTable,
    "surroundings": SurroundingsTable,
    "limits": LimitsTable,
    "supplies": SuppliesTable,
    "numerics": NumericsTable,
    "scale": ScaleTable,
    "scatter": ScatterTable,
    "bench": BenchTable,
    "probe": ProbeTable,
}


def table_at(path: tuple[str | int, ...]) -> type[Table] | None:
    """Class of the table at a path ("probe", 0), or None where there is none."""
    match path:
        case ():
            return CaseFile
        case (str(name),) if name not in LISTS:
            return _TABLES.get(name)
        case (str(name), int()) if name in LISTS:
            return _TABLES[name]
        case ("alloys", str()):
            return AlloyTable
        case ("alloys", str(), "conductivity"):
            return ConductivityTable
        case ("alloys", str(), "specific_heat"):
            return SpecificHeatTable
    return None


def field_at(key: str) -> FieldInfo | None:
    """Field of a dotted key, as "probe[2].angle", or None for an unknown key."""
    name, _, last = key.rpartition(".")
    start, entry, _ = name.partition("[")
    table = table_at((start, 0) if entry else (start,) if start else ())
    return None if table is None else table.model_fields.get(last)


def entry_at(path: tuple[str | int, ...]) -> Entry | None:
    """The `Entry` that reads the key at a path, or None for a table or an unknown key."""
    table = table_at(path[:-1])
    field = table.model_fields.get(str(path[-1])) if table else None
    found = [item for item in field.metadata if isinstance(item, Entry)] if field else []
    return found[0] if found else None


def every_key() -> Iterator[str]:
    """Dotted keys of all tables but the user's alloys."""
    for name in CaseFile.model_fields:
        if name in _TABLES:
            yield from (f"{name}.{key}" for key in _TABLES[name].model_fields)
        elif name != "alloys":
            yield name


def case_schema() -> dict[str, Any]:
    """JSON schema of a case file, for editors."""
    schema: dict[str, Any] = CaseFile.model_json_schema()
    tables: list[type[Table]] = [CaseFile, AlloyTable, *_TABLES.values()]
    for table in tables:
        properties = schema if table is CaseFile else schema["$defs"][table.__name__]
        for key, field in table.model_fields.items():
            for entry in (item for item in field.metadata if isinstance(item, Entry)):
                properties["properties"][key]["description"] += f" Allowed: {entry.allowed}."
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "Case file"
    schema["if"] = {"properties": {"joint": {"const": "bead-on-tube"}}, "required": ["joint"]}
    schema["then"] = {"properties": dict.fromkeys(("flange", "lap", "fillet", "tack"), False)}
    schema["else"] = {"required": ["flange"]}
    tidy: dict[str, Any] = _without_null(schema)
    return tidy


def _without_null(node: Any) -> Any:
    """Drop what says a key may be null: TOML has no null, a key is left out."""
    if isinstance(node, list):
        return [_without_null(item) for item in node]
    if not isinstance(node, dict):
        return node
    node = {
        key: _without_null(item)
        for key, item in node.items()
        if not (key == "default" and item is None)
    }
    if isinstance(node.get("anyOf"), list):
        node["anyOf"] = [item for item in node["anyOf"] if item != {"type": "null"}]
        if len(node["anyOf"]) == 1:
            node |= node.pop("anyOf")[0]
    return node
