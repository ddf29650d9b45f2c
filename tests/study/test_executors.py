"""Executors: the same rows from each; killed, raising and stubborn tasks; Ctrl-C."""

from __future__ import annotations

import multiprocessing
import os
import signal
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from lapheat.case.file import CaseError
from lapheat.study.runs import Cluster, Executor, Processes, Row, Serial, executor_of
from study.stand_in import Number, die_always, die_once, square, square_or_raise, threads

NUMBERS = [Number(value) for value in range(8)]


@pytest.fixture(scope="module")
def two() -> Iterator[Processes]:
    with Processes(2) as pool:
        yield pool


def rows_of(executor: Executor, work: object, tasks: list[Number]) -> list[Row]:
    found = dict(executor.run(work, tasks))  # type: ignore[arg-type]
    assert sorted(found) == list(range(len(tasks)))
    return [found[index] for index in range(len(tasks))]


def test_serial_and_processes_give_the_same_rows(two: Processes) -> None:
    expected = [{"square": float(n * n), "failed": None} for n in range(8)]
    assert rows_of(Serial(), square, NUMBERS) == rows_of(two, square, NUMBERS) == expected


def test_what_raises_is_a_row(two: Processes) -> None:
    rows = rows_of(Serial(), square_or_raise, NUMBERS)
    assert rows == rows_of(two, square_or_raise, NUMBERS)
    assert [row["failed"] for row in rows[:3]] == ["ValueError: no square of 0", None, None]


def test_a_killed_worker_costs_no_row(two: Processes, tmp_path: Path) -> None:
    tasks = [Number(value, tmp_path) for value in range(8)]
    assert rows_of(two, die_once, tasks) == rows_of(Serial(), square, NUMBERS)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["0", "3", "6"]  # each died once


def test_a_worker_killed_from_outside_costs_no_row(two: Processes) -> None:
    tasks = [Number(value, seconds=0.05) for value in range(20)]
    running = two.run(square, tasks)
    found = dict([next(running)])
    victim = multiprocessing.active_children()[0]
    os.kill(victim.pid or 0, signal.SIGKILL)
    found |= dict(running)
    assert [found[n]["square"] for n in range(20)] == [float(n * n) for n in range(20)]
    assert not victim.is_alive()


def test_an_idle_worker_killed_is_replaced(two: Processes) -> None:
    list(two.run(square, NUMBERS))
    for child in multiprocessing.active_children():
        child.kill()
        child.join()
    assert rows_of(two, square, NUMBERS) == rows_of(Serial(), square, NUMBERS)


def test_a_task_that_kills_every_worker_is_a_failed_row(two: Processes) -> None:
    rows = rows_of(two, die_always, NUMBERS)
    assert rows[3] == {"failed": "3 workers died over it, for want of memory?", "lost": True}
    others = [row for n, row in enumerate(rows) if n != 3]
    assert others == [r for n, r in enumerate(rows_of(Serial(), square, NUMBERS)) if n != 3]


def test_a_run_closed_early_leaves_no_worker_busy(two: Processes) -> None:
    tasks = [Number(value, seconds=30.0 if value else 0.0) for value in range(4)]
    running = two.run(square, tasks)
    assert next(running)[0] == 0
    began = time.monotonic()
    running.close()  # type: ignore[attr-defined]  # it is a generator
    assert rows_of(two, square, NUMBERS)[2]["square"] == 4.0
    assert time.monotonic() - began < 20.0


def test_workers_keep_to_one_thread_and_leave_ctrl_c_to_the_parent(two: Processes) -> None:
    before = os.environ.get("OMP_NUM_THREADS")
    row = rows_of(two, threads, NUMBERS[:1])[0]
    assert row["ignored"] is True
    assert row["NUMBA_NUM_THREADS"] == row["OMP_NUM_THREADS"] == "1"
    assert os.environ.get("OMP_NUM_THREADS") == before


def test_ctrl_c_ends_the_sweep_and_its_workers() -> None:
    tasks = [Number(value, seconds=30.0 if value else 0.0) for value in range(4)]
    before = set(multiprocessing.active_children())
    pool = Processes(2)
    running = pool.run(square, tasks)
    assert next(running)[0] == 0
    threading.Timer(0.2, os.kill, [os.getpid(), signal.SIGINT]).start()
    with pytest.raises(KeyboardInterrupt), pool:
        next(running)
    assert set(multiprocessing.active_children()) <= before


def test_what_is_warmed_is_warmed_once_and_here() -> None:
    warmed: list[int] = []
    with Processes(1, lambda: warmed.append(os.getpid())) as pool:
        assert list(pool.run(square, [])) == []
        assert warmed == []
        list(pool.run(square, NUMBERS[:1]))
        list(pool.run(square, NUMBERS[:1]))
    assert warmed == [os.getpid()]


def test_which_executor_a_command_gets() -> None:
    for workers in (1, 3):
        pool = executor_of(workers, None)
        assert isinstance(pool, Processes)
        assert pool.workers == workers
    assert executor_of(None, None).workers == len(os.sched_getaffinity(0))
    with pytest.raises(CaseError, match="nothing beside --workers"):
        executor_of(2, "tcp://127.0.0.1:1")


def test_one_worker_too_keeps_blas_to_one_thread(monkeypatch: pytest.MonkeyPatch) -> None:
    """A fit ends in other bytes with other threads."""
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "2")
    with executor_of(1, None) as pool:
        assert rows_of(pool, threads, NUMBERS[:1])[0]["OPENBLAS_NUM_THREADS"] == "1"
    assert os.environ["OPENBLAS_NUM_THREADS"] == "2"


def test_a_cluster_that_is_not_there_is_refused() -> None:
    with pytest.raises(CaseError, match="the address of a running scheduler"):
        Cluster("no address at all")


@pytest.fixture
def listener() -> Iterator[socket.socket]:
    """Who accepts every connection."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        yield server


@pytest.mark.parametrize("greeting", [b"", b"HTTP/1.1 400 Bad Request\r\n\r\n" * 9])
def test_who_accepts_and_is_no_scheduler_is_refused_in_time(
    listener: socket.socket, greeting: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that says nothing held the command for ever, another's words were taken for a size."""
    monkeypatch.setattr("lapheat.study.runs.executors.ANSWER", 0.5)

    def answer() -> None:
        with listener.accept()[0] as other, suppress(OSError):
            other.sendall(greeting)
            while other.recv(10_000):
                pass

    thread = threading.Thread(target=answer, daemon=True)
    thread.start()
    began = time.monotonic()
    with pytest.raises(CaseError) as caught:
        Cluster(f"tcp://127.0.0.1:{listener.getsockname()[1]}")
    told = "what answers there is none" if greeting else "no answer in 0.5 s"
    assert f"the address of a running scheduler ({told})" in str(caught.value)
    assert time.monotonic() - began < 10.0
    thread.join(10.0)
    assert not thread.is_alive()  # the connection was closed


ADDRESSES = ("ucx://127.0.0.1:9", "inproc://1/2/3", "http://127.0.0.1:9", "tcp://127.0.0.1:9/x")


@pytest.mark.parametrize("address", [*ADDRESSES, "tcp://\x1b[2J", "tcp://127.0.0.1:99999999"])
def test_only_addresses_of_schedulers_are_tried(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("lapheat.study.runs.executors._greet", None)  # must not be called
    with pytest.raises(CaseError, match="tcp://HOST:8786"):
        Cluster(address)


def test_an_address_without_keys_for_tls_is_refused(capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(CaseError, match="TLS"):
        Cluster("tls://127.0.0.1:9")
    assert capfd.readouterr().err == ""
