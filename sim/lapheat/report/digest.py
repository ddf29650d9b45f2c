"""A short name of a case by what it says, and the chance that a risk study of it found."""

from __future__ import annotations

import json
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from ..case.case import Case
from ..case.file import case_to_toml

__all__ = ["DIGITS", "chance_of", "digest_of"]

DIGITS = 12  # hexadecimal ones: enough to tell apart what a shop will ever run


def digest_of(case: Case) -> str:
    """First `DIGITS` digits of the SHA-256 of the resolved case.toml."""
    return sha256(case_to_toml(case).encode()).hexdigest()[:DIGITS]


def chance_of(case: Case) -> str:
    """Say the chance that a bench succeeds, if a risk study of this very case lies beside it.

    The study may have been run at another detail; it is at NAME.risk beside the case file NAME.
    """
    unknown = "Chance on a real bench: not computed (lapheat risk does)."
    file = Path(case.file)
    try:
        told = json.loads(file.with_name(f"{file.stem}.risk").joinpath("risk.json").read_text())
        same = told["case"] == digest_of(replace(case, detail=told["own_detail"]))
        success = told["success"]
        chance, low, high = (100.0 * float(success[n]) for n in ("chance", "low", "high"))
        runs = int(told["samples"])
    except (OSError, ValueError, KeyError, TypeError):
        return unknown
    if not same:
        return f"{unknown} {file.stem}.risk is of another case."
    return (
        f"Chance that a real bench succeeds: {chance:.0f} % ({low:.0f} to {high:.0f} %), from "
        f"{runs} runs with scattered inputs."
    )
