"""A dask cluster on this machine, for tests."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from lapheat.study.runs import Cluster

ROOT = Path(__file__).parents[2]


class Local:
    """A scheduler and its workers, started as the README does."""

    def __init__(self) -> None:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        self.address = f"tcp://127.0.0.1:{port}"
        path = os.pathsep.join([str(ROOT / "sim"), str(ROOT / "tests")])
        self.environment = {**os.environ, "PYTHONPATH": path}
        self.started: list[subprocess.Popen[bytes]] = []
        self.start("scheduler", "--host", "127.0.0.1", "--port", str(port), "--no-dashboard")
        self.workers: list[subprocess.Popen[bytes]] = []

    def start(self, *arguments: str) -> subprocess.Popen[bytes]:
        command = [sys.executable, "-m", "dask", *arguments]
        quiet = subprocess.DEVNULL
        child = subprocess.Popen(command, env=self.environment, stdout=quiet, stderr=quiet)
        self.started.append(child)
        return child

    def worker(self) -> subprocess.Popen[bytes]:
        options = ("--nthreads", "1", "--no-nanny", "--no-dashboard", "--death-timeout", "60")
        return self.start("worker", self.address, *options)

    @contextmanager
    def of(self, count: int) -> Iterator[Cluster]:
        """Executor on the cluster once it has so many workers."""
        self.workers = [self.worker() for _ in range(count)]
        with Cluster(self.address) as cluster:
            while cluster.workers < count:
                time.sleep(0.1)
            yield cluster

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        for child in self.started:
            child.kill()
            child.wait()
