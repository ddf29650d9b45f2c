"""A run to compare: from a result folder, or computed from a case file."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ...case.case import Case
from ...case.faults import CaseError, printable
from ...case.file import read_case

if TYPE_CHECKING:
    from ...api import Result

__all__ = ["Entry", "named_apart", "of_folder", "of_result", "short_name"]

Value = float | int | bool | str | None

# sentences, versions and the machine's own pace are no outcomes of the joint
LEFT_OUT = (
    "verdict.summary",
    "verdict.also_look_at",
    "verdict.too_close",
    "versions",
    "case",
    "march.wall_s",
)
Kinds = type | tuple[type, ...]
NEEDED: Mapping[str, Kinds] = {
    "verdict": dict,
    "tube": dict,
    "segments": list,
    "time": dict,
    "verdict.base_stays_solid": bool,
    "verdict.filler_flows": bool,
    "time.total_s": (int, float),
}
FOLDER = "a result folder of `lapheat run`, with outcomes.json and case.toml in it, or a case file"


@dataclass(frozen=True)
class Entry:
    """One run.

    Attributes
    ----------
    name : short, its own among those compared
    source : case file or result folder, as the user named it
    case : what was run
    told : content of its `outcomes.json`
    uncertainty : numerical, plus or minus, by outcome; None if the run was not converged
    """

    name: str
    source: str
    case: Case
    told: Mapping[str, Any]
    uncertainty: Mapping[str, float] | None = None

    def outcomes(self) -> dict[str, Value]:
        """Every single number, word or boolean of `outcomes.json`, by its place in it."""
        return dict(_leaves("", self.told))

    @property
    def works(self) -> bool:
        """Whether the base stays solid and the filler flows."""
        verdict = self.told["verdict"]
        return bool(verdict["base_stays_solid"] and verdict["filler_flows"])


def _leaves(place: str, value: Any) -> Iterator[tuple[str, Value]]:
    if place in LEFT_OUT:
        return
    if isinstance(value, Mapping):
        for name, item in value.items():
            yield from _leaves(f"{place}.{name}" if place else name, item)
    elif isinstance(value, list):
        for index, item in enumerate(value):
            if isinstance(item, Mapping):  # a list of plain numbers is a shape, not one outcome
                yield from _leaves(f"{place}[{index}]", item)
    else:
        yield place, value


def of_result(result: Result, source: str) -> Entry:
    """Take a run that was just computed."""
    convergence = result.convergence
    return Entry(
        name=printable(short_name(Path(source))),
        source=source,
        case=result.case,
        told=result.outcomes.as_dict(),
        uncertainty=None if convergence is None else convergence.uncertainty,
    )


def of_folder(folder: Path) -> Entry:
    """Read a result folder.

    Raises
    ------
    CaseError
        It is none, or what it holds cannot be read.
    """
    told = _json(folder / "outcomes.json", NEEDED)
    case = read_case(folder / "case.toml")
    uncertainty = None
    if (folder / "convergence.json").exists():
        file = folder / "convergence.json"
        rows = _json(file, {"outcomes": list})["outcomes"]
        try:
            uncertainty = {str(row["outcome"]): float(row["uncertainty"]) for row in rows}
        except (KeyError, TypeError, ValueError):
            given = "an outcome without its name or its uncertainty"
            raise CaseError.one(str(file), "outcomes", given, FOLDER) from None
    return Entry(printable(short_name(folder)), str(folder), case, told, uncertainty)


def _json(file: Path, needed: Mapping[str, Kinds]) -> dict[str, Any]:
    """Content of a result's file that has at least these values at these places."""
    try:
        told = json.loads(file.read_text("utf-8"))
    except FileNotFoundError:
        raise CaseError.one(str(file.parent), file.name, "no such file", FOLDER) from None
    except (OSError, ValueError) as error:
        raise CaseError.one(str(file), "file", f"not readable: {error}", FOLDER) from None
    told = told if isinstance(told, dict) else {}
    missing = [name for name, kind in needed.items() if not isinstance(_at(told, name), kind)]
    if missing:
        raise CaseError.one(str(file), "file", f"no {', '.join(missing)} in it", FOLDER)
    return told


def _at(told: Any, place: str) -> Any:
    """What stands at a dotted place; None if nothing does."""
    for name in place.split("."):
        told = told.get(name) if isinstance(told, Mapping) else None
    return told


def short_name(source: Path) -> str:
    """Name of a case file or a result folder without the end that every one has."""
    path = source.resolve()
    return path.stem if path.suffix in (".toml", ".out") else path.name


def named_apart(entries: Sequence[Entry]) -> tuple[Entry, ...]:
    """Give each a name of its own: later ones of a name are numbered."""
    told: list[Entry] = []
    for entry in entries:
        name, count = entry.name, 1
        while any(name == earlier.name for earlier in told):
            count += 1
            name = f"{entry.name} ({count})"
        told.append(replace(entry, name=name))
    return tuple(told)
