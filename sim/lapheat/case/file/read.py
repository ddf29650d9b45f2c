"""A case file, with what `--set` puts over it, to a `Case`; every fault reported at once."""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Iterable, Iterator
from copy import deepcopy
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any, NoReturn

from pydantic import ValidationError

from ..case import Case
from ..faults import CaseError, Fault, did_you_mean, printable, shown
from ..finding import Finding
from ..keys.fields import REFUSED
from ..keys.model import CaseFile
from ..keys.schema import LISTS, entry_at, every_key, table_at
from .checks import findings
from .depth import too_deep
from .every_key import settings_of
from .overrides import Override, apply, parse
from .power import of_power
from .resolve import dotted, resolve

__all__ = ["case_text", "file_text", "read_case", "read_case_text"]

KeyPath = tuple[str | int, ...]

_BIGGEST = 1_000_000  # [bytes]; a case file has a few thousand
_MOST = 100  # faults told one by one: each looks for the name that may be meant
_TABLES = CaseFile.model_fields.keys() - {"title", "joint", "alloys", *LISTS}
_JOINT_ONLY = ("flange", "lap", "fillet")
_SQUARE = "on a bead-on-tube the torch is square to the wall at mid-length"
_JOINT_ONLY_KEYS = {
    ("arc", "aim"): _SQUARE,
    ("arc", "work_angle"): _SQUARE,
    ("scatter", "aim"): _SQUARE,
    ("scatter", "work_angle"): _SQUARE,
    ("scatter", "clearance"): "a bead-on-tube has no lap",
}


def read_case(
    path: str | PathLike[str], overrides: Iterable[str] = (), detail: str | None = None
) -> Case:
    """Read a case file.

    Parameters
    ----------
    path : the file
    overrides : "KEY=VALUE" texts put over it, or one such text; the last of a key wins
    detail : "coarse", "standard" or "fine", put over `numerics.detail`

    Returns
    -------
    Case
        In SI, every default filled in.

    Raises
    ------
    CaseError
        The file cannot be read, or it has faults: all of them.
    """
    return read_case_text(case_text(path), str(Path(path)), overrides, detail)


def read_case_text(
    text: str, name: str, overrides: Iterable[str] = (), detail: str | None = None
) -> Case:
    """Read the text of a case file; `name` is its path, for messages and the default title.

    Raises
    ------
    CaseError
        As for `read_case`.
    """
    raw = _toml_of(text, name)
    changes, faults = parse(overrides)
    if detail is not None:
        changes.append(Override(("numerics", "detail"), detail, "--detail"))
    if not raw and not changes and not faults:
        _refuse(
            name,
            "file",
            "nothing: it is empty",
            "a case, with [tube], [flange], [arc] and [travel]",
            "`lapheat new FILE` writes a commented one to start from",
        )
    origins, misplaced = apply(changes, raw)
    faults += misplaced
    case, found = _case_of(raw, printable(Path(name).stem) or "case")
    defaults = {row.key: row.si for row in settings_of(case)}
    for finding in found:
        key = dotted(finding.path)
        given = finding.given or _given(raw, finding.path, defaults.get(key))
        file = next((o.source for o in reversed(origins) if _below(finding.path, o.path)), name)
        faults.append(Fault(file, key, given, finding.allowed, finding.hint))
    if faults:
        raise CaseError(faults)
    return replace(case, file=name)


def _refuse(name: str, key: str, given: str, allowed: str, hint: str = "") -> NoReturn:
    raise CaseError([Fault(name, key, given, allowed, hint)])


def case_text(path: str | PathLike[str]) -> str:
    """Text of a case file, unread.

    Raises
    ------
    CaseError
        The file cannot be read: in one line, why.
    """
    return file_text(path, "a case file: TOML text in UTF-8, smaller than 1 MB", _BIGGEST)


def file_text(path: str | PathLike[str], allowed: str, most: int) -> str:
    """Text of a file in UTF-8.

    Parameters
    ----------
    path : the file
    allowed : what it may be, in words
    most : its size at most [bytes]

    Raises
    ------
    CaseError
        The file cannot be read: in one line, why.
    """
    path = Path(path)
    name = str(path)
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            _refuse(name, "file", "a folder", allowed, "name the file in it")
        if not stat.S_ISREG(status.st_mode):
            _refuse(name, "file", "not a regular file", allowed)
        if status.st_size > most:
            _refuse(name, "file", f"{status.st_size / 1e6:.1f} MB", allowed)
        data = _bytes_of(path, most + 1)
        if len(data) > most:  # what the system makes up has no size beforehand
            _refuse(name, "file", f"more than {most / 1e6:.0f} MB", allowed)
    except FileNotFoundError:
        near = _near_files(path)
        _refuse(name, "file", "no such file", allowed, near)
    except PermissionError:
        hint = "its permissions do not let you read it"
        _refuse(name, "file", "a file that cannot be read", allowed, hint)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        _refuse(name, "file", f"a file that cannot be read: {reason}", allowed)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        given = f"bytes that are not UTF-8, first in line {line}"
        _refuse(name, "file", given, allowed, "save it again as UTF-8 in your editor")


def _bytes_of(path: Path, most: int) -> bytes:
    """First bytes of a file; what would keep the reader waiting, as /proc/kmsg, is an OSError."""
    opened = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    with os.fdopen(opened, "rb") as file:
        return file.read(most) or b""


def _near_files(path: Path) -> str:
    try:
        names = [
            item.name for item in path.parent.iterdir() if item.suffix in (".toml", path.suffix)
        ]
    except OSError:
        return ""
    return did_you_mean(path.name, names)


def _toml_of(text: str, name: str) -> dict[str, Any]:
    allowed = 'TOML: tables in [brackets] and lines such as wall = "0.065 in"'
    if deep := too_deep(text):
        _refuse(name, f"line {deep[0]}", f"too deep: {deep[1]}", allowed)
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError is one; a number of 5000 digits is another
        problem = str(error)
    at = re.search(r"at line (\d+)", problem)
    if at is None:
        _refuse(name, "file", f"text that is not TOML: {problem}", allowed)
    lines = text.split("\n")
    number = int(at[1])
    line = lines[number - 1].strip() if number <= len(lines) else ""
    hint = problem
    if re.match(r"[\w.]+\s*=\s*[+-]?[0-9./ ]+\s*[A-Za-z°\"]", line) and line.count('"') < 2:
        hint = f"put a value with a unit in quotes ({problem})"
    elif re.search("[\u201c\u201d\u201e\u2018\u2019]", line):
        hint = f"quotes must be straight, \" or ', not curly ({problem})"
    _refuse(name, f"line {number}", shown(line) if line else "the end of the file", allowed, hint)


def _case_of(raw: dict[str, Any], title: str) -> tuple[Case, list[Finding]]:
    """Case, NaN where a value was refused, and all that is wrong with it."""
    tidy = dict(raw)
    found = list(_of_other_joint(tidy))
    # A table left out is an empty one: its missing keys are then reported, or its
    # defaults taken. A misspelt joint does not say which tables it needs.
    joint = tidy.get("joint", "tube-to-flange")
    needs_flange = joint == "tube-to-flange" or any(name in tidy for name in _JOINT_ONLY)
    for name in _TABLES if needs_flange else _TABLES - {*_JOINT_ONLY}:
        tidy.setdefault(name, {})
    file, refused = _validated(tidy)
    case = resolve(file, title)
    found += [*refused, *findings(file, case)]
    # what the rod takes is known for a sound case only
    return case, found or list(of_power(case))


def _of_other_joint(raw: dict[str, Any]) -> Iterator[Finding]:
    """Take out of `raw`, and refuse, what has no meaning on a bead-on-tube."""
    if raw.get("joint") != "bead-on-tube":
        return
    why = "nothing: it does not belong to a bead-on-tube, the arc alone on a plain tube"
    hint = 'leave it out, or set joint = "tube-to-flange"'
    for name in (*_JOINT_ONLY, "tack"):
        if name in raw:
            del raw[name]
            yield Finding((name,), why, hint)
    for (table, key), reason in _JOINT_ONLY_KEYS.items():
        holder = raw.get(table)
        if isinstance(holder, dict) and key in holder:
            raw[table] = {part: value for part, value in holder.items() if part != key}
            yield Finding((table, key), f"nothing: {reason}", hint)


def _validated(raw: dict[str, Any]) -> tuple[CaseFile, list[Finding]]:
    """Read through the model; what it refuses is put aside and the rest read again."""
    found: list[Finding] = []
    raw = deepcopy(raw)
    first = True
    while True:
        try:
            return CaseFile.model_validate(raw), found
        except ValidationError as error:
            items = error.errors(include_url=False)
            paths = [_path_of(item["loc"]) for item in items]
            if first:
                found += map(_finding_of, paths[:_MOST], items[:_MOST])
            if first and len(items) > _MOST:
                given = f"{len(items)} faults"
                found.append(Finding(("file",), f"none; the first {_MOST} are shown", "", given))
            for path, item in zip(paths, items, strict=True):
                _set_aside(raw, path, item["type"])
        first = False


def _path_of(loc: KeyPath) -> KeyPath:
    """Path in the file: without the tag pydantic adds for one quantity or a table."""
    if loc[0] == "alloys" and len(loc) > 3 and loc[3] in ("one", "table"):
        return (*loc[:3], *loc[4:])
    return loc


def _finding_of(path: KeyPath, item: Any) -> Finding:
    context = item.get("ctx", {})
    match item["type"]:
        case "refused":
            return Finding(path, context["allowed"], context["hint"])
        case "missing":
            entry, table = entry_at(path), table_at(path[:-1])
            field = table.model_fields[str(path[-1])] if table else None
            about = (field.description or "") if field else ""
            about = (about[:1].lower() + about[1:]).rstrip(".")
            if entry is None:
                return Finding(path, about, "this key is required", "nothing")
            return Finding(path, entry.allowed, f"this key is required: {about}", "nothing")
        case "extra_forbidden":
            return _unknown(path)
        case "list_type" if path[0] in LISTS and len(path) == 1:
            allowed = f"a list of tables, each headed [[{path[0]}]]"
            return Finding(path, allowed, "double the brackets")
        case "list_type":
            return Finding(path, "a list in brackets")
        case "too_long":
            return Finding(path, f"at most {context['max_length']} entries")
    return Finding(path, f"a table: [{dotted(path)}] with keys and values below it")


# Words of the trade, and the key that is meant.
_TRADE = {
    **dict.fromkeys(
        ("interpass", "interpass_temperature", "cooldown_temperature"),
        "travel.resume_below waits until the next start point is cooler than that",
    ),
    **dict.fromkeys(("cooldown", "wait", "rest"), "travel.pause is the time with the arc off"),
    **dict.fromkeys(
        ("arc_gap", "arc_length", "standoff", "stand_off"),
        "arc.length is the gap from tungsten to work",
    ),
    "gap": "lap.clearance is the radial gap of the lap, arc.length that from tungsten to work",
    **dict.fromkeys(("fit", "fit_up", "fitup"), "lap.clearance is the radial gap of the lap"),
    **dict.fromkeys(
        ("heat_input", "power", "watts"),
        "heat follows from arc.current, arc.voltage (or arc.length), arc.efficiency and "
        "travel.speed",
    ),
    **dict.fromkeys(("amps", "amperage"), 'did you mean "arc.current"?'),
    **dict.fromkeys(("volts",), 'did you mean "arc.voltage"?'),
    **dict.fromkeys(
        ("rod", "rod_diameter", "wire", "filler_diameter"), 'did you mean "fillet.wire_diameter"?'
    ),
    **dict.fromkeys(
        ("argon", "gas", "gas_flow", "shielding_gas"), "supplies.argon_flow is that of the torch"
    ),
    **dict.fromkeys(("plate", "plate_thickness"), 'did you mean "flange.thickness"?'),
    **dict.fromkeys(("od", "diameter"), 'did you mean "outside_diameter"?'),
    **dict.fromkeys(("gauge", "gage"), 'tube.wall takes a gauge, such as "16 ga"'),
    **dict.fromkeys(("torch_angle", "angle_of_torch"), 'did you mean "arc.work_angle"?'),
    **dict.fromkeys(
        ("preheat", "preheat_temperature"), "surroundings.temperature is where it starts"
    ),
    **dict.fromkeys(("material", "metal", "grade"), "alloy, or fillet.filler"),
    **dict.fromkeys(
        ("material_of_filler", "filler_alloy", "filler_metal"), 'did you mean "fillet.filler"?'
    ),
}


def _unknown(path: KeyPath) -> Finding:
    table = table_at(path[:-1])
    names = tuple(table.model_fields) if table else ()
    key = str(path[-1])
    hint = _TRADE.get(key.casefold().replace(" ", "_"), "") or did_you_mean(key, names)
    if not hint:
        whole = [*every_key()]
        elsewhere = [full for full in whole if full.rpartition(".")[2] == key]
        hint = f'did you mean "{elsewhere[0]}"?' if elsewhere else did_you_mean(dotted(path), whole)
    where = f"[{dotted(path[:-1])}]" if len(path) > 1 else "a case file"
    return Finding(path, f"a key of {where}: {', '.join(names)}", hint)


def _set_aside(raw: Any, path: KeyPath, why: str) -> None:
    """Change `raw` so that the item at `path` cannot be refused again."""
    for part in path[:-1]:
        raw = raw[part]
    if why == "extra_forbidden":
        del raw[path[-1]]
    elif path[0] in LISTS and len(path) == 1:
        raw[path[0]] = []
    else:
        raw[path[-1]] = {} if why in ("model_type", "dict_type") else REFUSED


def _below(path: KeyPath, top: tuple[str, ...]) -> bool:
    return path[: len(top)] == top


def _given(raw: Any, path: KeyPath, default: str | None) -> str:
    """What is given at `path`, or else the default."""
    for part in path:
        try:
            raw = raw[part]
        except (KeyError, IndexError, TypeError):
            return f"nothing; the default is {default}" if default else "nothing"
    return shown(raw)
