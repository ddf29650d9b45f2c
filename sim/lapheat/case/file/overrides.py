"""`--set KEY=VALUE`: changes put over what a case file says, through the same door."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from ..faults import Fault, shown
from .depth import PARTS, too_deep

__all__ = ["Origin", "Override", "apply", "parse"]

_PLAIN_KEY = re.compile(r"[A-Za-z0-9_-]+(\.[A-Za-z0-9_-]+)*")


@dataclass(frozen=True)
class Override:
    """One change: where, to what, and who asks ("--set" or "--detail")."""

    path: tuple[str, ...]
    value: Any
    source: str


@dataclass(frozen=True)
class Origin:
    """What is at `path` and below it came from `source`."""

    path: tuple[str, ...]
    source: str


def parse(texts: Iterable[str]) -> tuple[list[Override], list[Fault]]:
    """Read "KEY=VALUE" texts; a value is tried as TOML first and else taken as it is.

    A bare text counts as a list of one; what is not a list of texts is a fault.
    """
    changes: list[Override] = []
    faults: list[Fault] = []
    texts = (texts,) if isinstance(texts, str) else texts
    given: list[object] = [texts]
    if isinstance(texts, Iterable) and not isinstance(texts, Mapping):
        texts = tuple(texts)
        given = [text for text in texts if not isinstance(text, str)]
    if given:
        told = f"{shown(given[0])}, a {type(given[0]).__name__}"
        allowed = 'a list of "KEY=VALUE" texts'
        hint = 'for example overrides=("arc.current=80 A",)'
        return [], [Fault("", "overrides", told, allowed, hint)]
    for text in texts:
        key, equals, value = text.partition("=")
        path = _path_of(key.strip())
        if not equals or path is None:
            faults.append(
                Fault(
                    "--set",
                    key.strip() or "nothing",
                    shown(text),
                    f"KEY=VALUE with a key of a case file, of {PARTS} parts at most",
                    'for example --set "travel.pause=30 s"',
                )
            )
        else:
            changes.append(Override(path, _value_of(value.strip()), "--set"))
    return changes, faults


def _path_of(key: str) -> tuple[str, ...] | None:
    if too_deep(key):
        return None
    if _PLAIN_KEY.fullmatch(key):
        return tuple(key.split("."))
    try:
        node: Any = tomllib.loads(f"{key} = 0")  # a quoted part: alloys."my steel".density
    except ValueError:
        return None
    path = []
    while isinstance(node, dict):
        if len(node) != 1:
            return None
        ((part, node),) = node.items()
        path.append(part)
    return tuple(path)


def _value_of(text: str) -> Any:
    if too_deep(text):
        return text
    try:
        read = tomllib.loads(f"value = {text}")
    except ValueError:
        return text
    value = read["value"]
    # No key holds true, false or a date: there such words are text.
    plain = len(read) == 1 and isinstance(value, str | int | float | list | dict)
    return value if plain and not isinstance(value, bool) else text


def apply(changes: Iterable[Override], raw: dict[str, Any]) -> tuple[list[Origin], list[Fault]]:
    """Put the changes into `raw`; where each came from, and faults where one has no place."""
    origins, faults = [], []
    for change in changes:
        node: Any = raw
        made = len(change.path)
        for depth, part in enumerate(change.path[:-1], start=1):
            if not isinstance(node, dict):
                break
            if part not in node:
                node[part] = {}
                made = min(made, depth)
            node = node[part]
        if isinstance(node, dict):
            node[change.path[-1]] = change.value
            origins.append(Origin(change.path[:made], change.source))
            continue
        faults.append(
            Fault(
                change.source,
                ".".join(change.path),
                shown(change.value),
                "a key of a table",
                f"in this case {change.path[0]} is not one table: set {change.path[0]} whole",
            )
        )
    return origins, faults
