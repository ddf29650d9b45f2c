"""What studies beside a case file found of it: the chance on a bench, the levers."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from ..case.case import Case
from ..case.faults import printable
from ..case.file import digest_of

__all__ = ["Levers", "chance_of", "levers_of"]


NAMES = ("key", "from", "to", "says")  # of a lever, as in explain.json
LARGEST = 1_000_000  # [bytes] of a study's results; ours have some 15,000
LEVERS, ADVICE = 200, 20  # that are shown; a real study has fewer


@dataclass(frozen=True)
class Levers:
    """What to change, as `lapheat explain` found it.

    Attributes
    ----------
    missing : why there is nothing to tell; empty if there is
    advice : what does it, the best first, each confirmed by a run on the case's own mesh
    rows : (n, 5) by `NAMES`, and what it serves
    detail : mesh of the runs behind `rows`
    """

    missing: str
    advice: tuple[str, ...] = ()
    rows: tuple[tuple[str, ...], ...] = ()
    detail: str = ""


class _OtherError(Exception):
    """The study is of another case."""


def _told(case: Case, study: str) -> dict[str, Any]:
    """Read a study's results if it is of this very case; its mesh may be another.

    The study is at NAME.risk, NAME.explain, ... beside the case file NAME.
    """
    file = Path(case.file)
    # `find` writes the case it found beside its results
    folder = file.parent if study == "find" else file.with_name(f"{file.stem}.{study}")
    path = folder / f"{study}.json"
    if not path.is_file():  # a pipe would be waited for
        raise ValueError(path)
    with path.open("rb") as opened:
        text = opened.read(LARGEST + 1)
    if len(text) > LARGEST:
        raise ValueError(path)
    told = json.loads(text.decode("utf-8"))
    if told["case"] != digest_of(replace(case, detail=told["own_detail"])):
        raise _OtherError(f"{folder.name} is of another case.")
    return dict(told)


_UNREADABLE = (OSError, ValueError, KeyError, TypeError, ArithmeticError, RecursionError)


def chance_of(case: Case) -> str:
    """Say the chance that a bench succeeds, if a study of this very case lies beside it.

    That of `risk`, else that on the fresh benches of the search that found the case.
    """
    unknown = "Chance on a real bench: not computed (lapheat risk does)."
    try:
        told = _told(case, "risk")
        success = told["success"]
        chance, low, high = (float(success[name]) for name in ("chance", "low", "high"))
        runs, detail = int(told["samples"]), _text(told["detail"])
        if not (0.0 <= low <= chance <= high <= 1.0 and runs >= 1):
            raise ValueError(success)
    except _OtherError as error:
        return f"{unknown} {error}"
    except _UNREADABLE:
        return _found(case) or unknown
    return (
        f"Chance that a real bench succeeds: {100.0 * chance:.0f} % ({100.0 * low:.0f} to "
        f"{100.0 * high:.0f} %), from {runs} {detail} runs with scattered inputs."
    )


def _found(case: Case) -> str:
    """Chance that `lapheat find` counted of this very case; empty if it did not."""
    try:
        told = _told(case, "find")
        pick, sure = told["picks"][0], float(told["sure"])
        chance, low, high = (float(pick[name]) for name in ("chance", "low", "high"))
        benches = int(pick["benches"])
        if not (0.0 <= low <= chance <= high <= 1.0 and benches >= 1):
            raise ValueError(pick)
    except (*_UNREADABLE, _OtherError, IndexError):
        return ""
    missed = "" if chance >= sure else f", where {100.0 * sure:.0f} % were wanted"
    return (
        f"Chance that a real bench succeeds: {100.0 * chance:.{1 if missed else 0}f} % "
        f"({100.0 * low:.0f} to {100.0 * high:.0f} %){missed}, from the {benches} benches that "
        "chose it, so optimistic."
    )


def levers_of(case: Case) -> Levers:
    """Tell what to change, if `lapheat explain` of this very case lies beside it."""
    unknown = "Not computed: lapheat explain CASE, or lapheat run CASE --explain, finds it."
    try:
        told = _told(case, "explain")
        advice = tuple(f"{_text(a['head'])}: {_text(a['says'])}." for a in told["advice"][:ADVICE])
        serves: dict[tuple[str, ...], list[str]] = {}
        for lever in told["levers"][:LEVERS]:
            row = tuple(_text(lever[name]) for name in NAMES)
            serves.setdefault(row, []).append(_text(lever["serves"]))
        rows = tuple((*row, ", ".join(words)) for row, words in serves.items())
        detail = _text(told["detail"])
    except _OtherError as error:
        return Levers(f"{unknown} {error}")
    except _UNREADABLE:
        return Levers(unknown)
    return Levers("", advice or ("Nothing that was tried does better.",), rows, detail)


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError(value)
    return printable(value)
