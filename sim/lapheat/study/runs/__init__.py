"""Many runs to one decision: trials, rounds of them, where they are run, how rows are kept.

The names are imported on first use, so that a worker loads no more than its work needs.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from .executors import Cluster, Executor, Processes, Row, Serial, executor_of
    from .rounds import Count, Planner, Round, drive
    from .store import RowFile, collect
    from .trial import Source, Trial, run_trial, warm_up

__all__ = [
    "HOURS",
    "Cluster",
    "Count",
    "Executor",
    "Planner",
    "Processes",
    "Round",
    "Row",
    "RowFile",
    "Serial",
    "Source",
    "Trial",
    "collect",
    "drive",
    "executor_of",
    "run_trial",
    "warm_up",
]

HOURS = 24.0  # of a study that is begun unasked; here, as reading it must load nothing

_HOME = {
    **dict.fromkeys(("Cluster", "Executor", "Processes", "Row", "Serial"), "executors"),
    **dict.fromkeys(("Count", "Planner", "Round", "drive"), "rounds"),
    **dict.fromkeys(("RowFile", "collect"), "store"),
    **dict.fromkeys(("Source", "Trial", "run_trial", "warm_up"), "trial"),
    "executor_of": "executors",
}


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_HOME[name]}", __name__), name)
