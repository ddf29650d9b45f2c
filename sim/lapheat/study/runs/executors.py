"""Where trials are run: in turn, on the cores of this machine, or on a dask cluster.

Every executor gives the same rows; they only come in another order.
"""

from __future__ import annotations

import os
import re
import signal
import threading
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from multiprocessing import get_context
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from types import TracebackType
from typing import TYPE_CHECKING, Any, Protocol, Self, TypeVar

if TYPE_CHECKING:
    from ...case.file import CaseError

__all__ = ["Cluster", "Executor", "Processes", "Row", "Serial", "Value", "Work", "executor_of"]

Value = float | bool | str | None
Row = dict[str, Value]
"""What is left of a run: numbers, booleans and texts by name; `failed` says why there are none.

Where `lost` is there and true the run itself was not at fault: another try may go well.
"""

Task = TypeVar("Task")
Work = Callable[[Task], Row]

ADDRESS = re.compile(r"((?:tcp|tls)://)?([^\s/:]+|\[[0-9a-f:]+\]):[0-9]{1,5}")
ANSWER = 10.0  # [s] for the scheduler of a cluster
WAIT = 20.0  # [s] for the first worker of a cluster
STRIKES = 3  # workers a task may cost before it counts as failed
BLAS = "OPENBLAS_NUM_THREADS"
SINGLE = dict.fromkeys(("NUMBA_NUM_THREADS", "OMP_NUM_THREADS", BLAS, "MKL_NUM_THREADS"), "1")


class Executor(Protocol):
    """Runs tasks; a context, at whose end its workers are gone."""

    @property
    def workers(self) -> int:
        """How many tasks are worked on at once."""
        ...

    def run(self, work: Work[Task], tasks: Sequence[Task]) -> Iterator[tuple[int, Row]]:
        """Work on every task; index and row of each as it finishes. Closed early, it stops."""
        ...

    def __enter__(self) -> Self: ...

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None: ...


def guarded(work: Work[Task], task: Task) -> Row:
    """Row of a task; one that says what went wrong if `work` raises."""
    try:
        return work(task)
    except MemoryError:
        return {"failed": "MemoryError: too many runs at once for this machine", "lost": True}
    except Exception as error:  # whatever one of many runs dies of must not end the others
        return {"failed": f"{type(error).__name__}: {error}"}


class Serial:
    """One task after the other, in this process."""

    workers = 1

    def run(self, work: Work[Task], tasks: Sequence[Task]) -> Iterator[tuple[int, Row]]:
        """Work on every task in turn."""
        for index, task in enumerate(tasks):
            yield index, guarded(work, task)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        pass


class _Worker:
    """A process that answers tasks one at a time; `index` is the one it is at."""

    def __init__(self) -> None:
        self.pipe: Connection
        self.pipe, theirs = get_context("spawn").Pipe()
        self.process: BaseProcess = get_context("spawn").Process(
            target=_serve, args=(theirs,), daemon=True
        )
        with _quiet_start():
            self.process.start()
        theirs.close()  # so that its death is the end of our pipe
        self.index: int | None = None

    def kill(self) -> None:
        self.process.kill()
        self.process.join()
        self.pipe.close()


def _serve(pipe: Connection) -> None:
    """Loop of a worker process; it ends when the other side does."""
    with suppress(EOFError, OSError):
        while True:
            work, task = pipe.recv()
            pipe.send(guarded(work, task))


@contextmanager
def _quiet_start() -> Iterator[None]:
    """Start processes that keep to one thread and leave Ctrl-C to their parent."""
    before = {name: os.environ.get(name) for name in SINGLE}
    main = threading.current_thread() is threading.main_thread()
    handler = signal.signal(signal.SIGINT, signal.SIG_IGN) if main else None
    os.environ.update(SINGLE)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
        if main:
            signal.signal(signal.SIGINT, handler)


class Processes:
    """Worker processes on this machine, one thread each; they stay until the context ends.

    A worker that is killed costs nothing but its time: its task goes to a new one, and only after
    `STRIKES` of them counts as failed.

    Parameters
    ----------
    workers : one a core by default
    warm : called once, here, while the workers start: what it compiles they find ready
    """

    def __init__(self, workers: int | None = None, warm: Callable[[], None] | None = None) -> None:
        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
        self.workers = workers or cores or 1
        self._warm = warm
        self._pool: list[_Worker] = []

    def run(self, work: Work[Task], tasks: Sequence[Task]) -> Iterator[tuple[int, Row]]:
        """Work on every task, the first first."""
        waiting = deque(range(len(tasks)))
        strikes: Counter[int] = Counter()
        while len(self._pool) < min(self.workers, len(tasks)):
            self._pool.append(_Worker())
        if self._warm is not None and tasks:
            self._warm()
            self._warm = None
        try:
            while True:
                for place, worker in enumerate(self._pool):
                    if worker.index is None and waiting:
                        self._pool[place] = self._hand(worker, work, tasks, waiting.popleft())
                busy = {
                    worker.pipe: (place, worker.index)
                    for place, worker in enumerate(self._pool)
                    if worker.index is not None
                }
                if not busy:
                    return
                for pipe in wait(list(busy)):
                    place, index = busy[pipe]  # type: ignore[index]  # these are the ones we gave
                    worker = self._pool[place]
                    worker.index = None
                    try:
                        row = worker.pipe.recv()
                    except (EOFError, OSError):
                        worker.kill()
                        self._pool[place] = _Worker()
                        strikes[index] += 1
                        if strikes[index] < STRIKES:
                            waiting.appendleft(index)
                            continue
                        why = f"{STRIKES} workers died over it, for want of memory?"
                        row = {"failed": why, "lost": True}
                    yield index, row
        finally:
            self._drop(lambda worker: worker.index is not None)

    def _hand(
        self, worker: _Worker, work: Work[Task], tasks: Sequence[Task], index: int
    ) -> _Worker:
        """Give a task to a worker, or to a new one in place of one that died idle."""
        try:
            worker.pipe.send((work, tasks[index]))
        except OSError:
            worker.kill()
            worker = _Worker()
            worker.pipe.send((work, tasks[index]))
        worker.index = index
        return worker

    def _drop(self, which: Callable[[_Worker], bool]) -> None:
        gone = [worker for worker in self._pool if which(worker)]
        self._pool = [worker for worker in self._pool if not which(worker)]
        for worker in gone:
            worker.kill()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._drop(lambda _: True)


class Cluster:
    """Workers of a dask cluster, wherever they are; Lapheat is installed beside each of them.

    Parameters
    ----------
    address : of the scheduler, such as tcp://192.168.1.10:8786

    Raises
    ------
    CaseError
        `dask.distributed` is not installed, nothing answers, there are no workers, some have
        another version, or some let BLAS use more threads than one.
    """

    def __init__(self, address: str) -> None:
        if not ADDRESS.fullmatch(address):
            raise _refused(address, "the address of a running scheduler, tcp://HOST:8786")
        import asyncio  # no other executor needs it

        try:
            from dask.distributed import Client
        except ImportError:
            raise _refused(
                address, "nothing: dask is not installed", "pip install 'lapheat[cluster]'"
            ) from None
        try:
            # dask's client would wait for ever, or try again when Python ends
            asyncio.run(asyncio.wait_for(_greet(address), ANSWER))
            client: Any = Client
            self._client = client(address, timeout=ANSWER, set_as_default=False)
        except Exception as error:  # what answers may be anything
            told = str(error) or f"no answer in {ANSWER:g} s"
            told = "what answers there is none" if isinstance(error, MemoryError) else told
            hint = "start one with: dask scheduler"
            raise _refused(address, f"the address of a running scheduler ({told})", hint) from None
        try:
            self._client.wait_for_workers(1, timeout=WAIT)
        except TimeoutError:
            self._client.close()
            hint = f"start one with: dask worker {address} --nthreads 1"
            raise _refused(address, "a scheduler with at least one worker", hint) from None
        theirs = set(self._client.run(_version).values())
        if strange := theirs - {_version()}:
            self._client.close()
            told = f"workers with Lapheat {_version()}; some have {', '.join(sorted(strange))}"
            raise _refused(address, told, "install the same version everywhere")
        if set(self._client.run(_blas_threads).values()) != {"1"}:
            self._client.close()
            told = f"workers with {BLAS}=1: with more threads fits end in other bytes"
            raise _refused(address, told, "dask worker sets it, unless started with --no-nanny")

    @property
    def workers(self) -> int:
        """Threads of all workers now."""
        return sum(self._client.nthreads().values()) or 1

    def run(self, work: Work[Task], tasks: Sequence[Task]) -> Iterator[tuple[int, Row]]:
        """Work on every task; what a lost worker had is done again by another."""
        from dask import distributed

        finished: Any = distributed.as_completed
        at = {
            self._client.submit(guarded, work, task, pure=False): index
            for index, task in enumerate(tasks)
        }
        try:
            for future in finished(at, loop=self._client.loop):
                error = future.exception()
                row: Row = {"failed": f"{type(error).__name__}: {error}", "lost": True}
                yield at[future], future.result() if error is None else row
        finally:
            self._client.cancel(list(at))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()


def _refused(address: str, allowed: str, hint: str = "") -> CaseError:
    from ...case.file import CaseError, Fault  # a worker that reads no case needs no pydantic

    return CaseError([Fault("", "--cluster", address, allowed, hint)])


async def _greet(address: str) -> None:
    """Exchange greetings with a scheduler; whatever goes wrong raises."""
    from dask import distributed

    dask: Any = distributed
    link = dask.Security().get_connection_args("client")
    comm = await dask.comm.connect(address, timeout=ANSWER, **link)
    await comm.close()


def _version() -> str:
    from ...version import __version__

    return __version__


def _blas_threads() -> str:
    return os.environ.get(BLAS, "")


def executor_of(
    workers: int | None, cluster: str | None, warm: Callable[[], None] | None = None
) -> Processes | Cluster:
    """Executor a command line asks for: a cluster, or processes, one of them too.

    A fit in this process would use as many BLAS threads as it likes, and end in other bytes.

    Raises
    ------
    CaseError
        Both are asked for, or the cluster is not to be used: see `Cluster`.
    """
    if cluster is None:
        return Processes(workers, warm)
    if workers is not None:
        raise _refused(cluster, "nothing beside --workers", "a cluster has its own workers")
    return Cluster(cluster)
