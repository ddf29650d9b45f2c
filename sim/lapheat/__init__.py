"""Transient 3-D temperatures of an arc-brazed tube-to-flange lap joint.

The public names are these. Each is imported on first use, so that `import lapheat` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from .version import __version__

if TYPE_CHECKING:
    from .api import Result, converge, simulate
    from .case.case import Case
    from .case.file import CaseError, case_to_toml, read_case
    from .history.records import History
    from .march.errors import MarchError
    from .outcomes.from_history import outcomes_of
    from .outcomes.outcomes import Outcomes
    from .report.folder import ResultError, write_results
    from .study.answer import Answer
    from .study.functions import calibrate, explain, find, risk, sequences, window
    from .study.side_by_side import compare

__all__ = [
    "Answer",
    "Case",
    "CaseError",
    "History",
    "MarchError",
    "Outcomes",
    "Result",
    "ResultError",
    "__version__",
    "calibrate",
    "case_to_toml",
    "compare",
    "converge",
    "explain",
    "find",
    "outcomes_of",
    "read_case",
    "risk",
    "sequences",
    "simulate",
    "window",
    "write_results",
]

_HOME = {
    "Answer": "study.answer",
    "Case": "case.case",
    "CaseError": "case.file",
    "History": "history.records",
    "MarchError": "march.errors",
    "Outcomes": "outcomes.outcomes",
    "Result": "api",
    "ResultError": "report.folder",
    "case_to_toml": "case.file",
    "compare": "study.side_by_side",
    "converge": "api",
    "outcomes_of": "outcomes.from_history",
    "read_case": "case.file",
    "simulate": "api",
    "write_results": "report.folder",
    **dict.fromkeys(
        ("calibrate", "explain", "find", "risk", "sequences", "window"), "study.functions"
    ),
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
