"""A short name of a case by what it says."""

from __future__ import annotations

from hashlib import sha256

from ..case.case import Case
from ..case.file import case_to_toml

__all__ = ["DIGITS", "digest_of"]

DIGITS = 12  # hexadecimal ones: enough to tell apart what a shop will ever run


def digest_of(case: Case) -> str:
    """First `DIGITS` digits of the SHA-256 of the resolved case.toml."""
    return sha256(case_to_toml(case).encode()).hexdigest()[:DIGITS]
