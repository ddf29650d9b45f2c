"""Case files: TOML in human units to a `Case` in SI, and back."""

from __future__ import annotations

from ..faults import CaseError, Fault
from ..keys.schema import case_schema
from .every_key import resolved_rows, told_settings
from .read import case_text, file_text, read_case, read_case_text
from .write import case_to_toml, digest_of, starter_text

__all__ = [
    "CaseError",
    "Fault",
    "case_schema",
    "case_text",
    "case_to_toml",
    "digest_of",
    "file_text",
    "read_case",
    "read_case_text",
    "resolved_rows",
    "starter_text",
    "told_settings",
]
