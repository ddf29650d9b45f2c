"""A real dask cluster on this machine: the same rows as everywhere, and workers that die."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from lapheat.case.file import CaseError
from lapheat.study.runs import (
    Cluster,
    Processes,
    RowFile,
    Serial,
    Source,
    Trial,
    collect,
    run_trial,
)
from study.local_cluster import Local
from study.stand_in import Number, square, square_or_raise

TINY = Source.of(Path(__file__).parent / "tiny.toml")


@pytest.fixture(scope="module")
def local() -> Iterator[Local]:
    with Local() as cluster:
        yield cluster


@pytest.fixture
def alone() -> Iterator[Local]:
    """A scheduler of its own: tests come in any order where two processes share them."""
    with Local() as cluster:
        yield cluster


@pytest.fixture(scope="module")
def two(local: Local) -> Iterator[Cluster]:
    with local.of(2) as cluster:
        yield cluster


def refused(cluster: Local) -> str:
    """Why it is refused, once its scheduler is there: that takes a second or two."""
    told = "nothing"
    for _ in range(120):
        with pytest.raises(CaseError) as error:
            Cluster(cluster.address)
        told = str(error.value)
        if "running scheduler" not in told:
            break
        time.sleep(0.25)
    return told


def test_a_scheduler_without_workers_is_refused(
    alone: Local, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lapheat.study.runs.executors.WAIT", 0.1)
    assert "a scheduler with at least one worker" in refused(alone)


def test_workers_with_more_blas_threads_are_refused(
    alone: Local, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fits would end in other bytes."""
    monkeypatch.setitem(alone.environment, "OPENBLAS_NUM_THREADS", "2")
    worker = alone.worker()
    assert "OPENBLAS_NUM_THREADS=1" in refused(alone)
    worker.kill()
    worker.wait()


def test_a_cluster_serial_and_two_processes_give_identical_rows(two: Cluster) -> None:
    trials = [Trial(TINY, (("arc.current", f"{current} A"),)) for current in (30, 42, 54)]
    trials.append(Trial(TINY, (("arc.current", "9999 A"),)))
    with Processes(2) as pool:
        rows = [collect(e, run_trial, trials, RowFile()) for e in (Serial(), pool, two)]
    assert rows[0] == rows[1] == rows[2]
    assert [row["failed"] is None for row in rows[0]] == [True] * 3 + [False]
    margins = [row["margin_K"] for row in rows[0][:3]]
    assert margins == sorted(margins, key=lambda margin: -float(margin or 0.0))
    assert max(abs(float(row["imbalance"] or 0.0)) for row in rows[0][:3]) < 1e-9


def test_what_raises_on_a_cluster_is_a_row(two: Cluster) -> None:
    tasks = [Number(value) for value in range(5)]
    assert dict(two.run(square_or_raise, tasks)) == dict(Serial().run(square_or_raise, tasks))


def test_a_cluster_worker_killed_mid_sweep_costs_no_row(local: Local, two: Cluster) -> None:
    tasks = [Number(value, seconds=0.05) for value in range(30)]
    running = two.run(square, tasks)
    found = dict([next(running)])
    os.kill(local.workers[0].pid, signal.SIGKILL)
    local.worker()
    found |= dict(running)
    assert [found[n]["square"] for n in range(30)] == [float(n * n) for n in range(30)]
