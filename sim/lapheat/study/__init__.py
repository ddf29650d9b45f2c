"""Many runs to one decision: trials, where they are run, and how their rows are kept."""

from __future__ import annotations

from .executors import Cluster, Executor, Processes, Row, Serial, executor_of
from .rows import RowFile, collect
from .trial import Source, Trial, run_trial, warm_up

__all__ = [
    "Cluster",
    "Executor",
    "Processes",
    "Row",
    "RowFile",
    "Serial",
    "Source",
    "Trial",
    "collect",
    "executor_of",
    "run_trial",
    "warm_up",
]
