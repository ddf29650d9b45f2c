"""What every test may use: `record`, which holds an error to its bound and can write it down."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

# FiPy's solver takes short products of vectors: on a busy machine BLAS threads make each of them
# a hundred times slower. Read by numpy when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from exact.errors import KEPT, Record, kept_in, no_longer_made

if TYPE_CHECKING:
    from lapheat.api import Result

WHOLE = pytest.StashKey[bool]()  # all tests run, none was left out
CHECKED = pytest.StashKey[set[str]]()  # checks made against exact answers, by name


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--record-errors",
        action="store_true",
        help="write the errors found by the tests of exact answers to tests/exact/errors.json",
    )
    parser.addoption(
        "--rewrite-golden",
        action="store_true",
        help="write the outcomes of the shipped cases to tests/golden/*.json",
    )
    parser.addoption(
        "--rewrite-pictures",
        action="store_true",
        help="write the figures that tests look at to the folders called pictures",
    )
    parser.addoption(
        "--rewrite-fipy",
        action="store_true",
        help="march the shipped cases through FiPy, minutes each, and write what comes out to "
        "tests/reference/fipy_outcomes/*.json",
    )


@pytest.fixture(scope="session")
def record(request: pytest.FixtureRequest) -> Iterator[Record]:
    """Hold an error to its bound and to what is kept; with --record-errors keep it anew."""
    config = request.config
    anew = config.getoption("--record-errors")
    book = Record(show=anew, kept=None if anew else kept_in(KEPT))
    yield book
    if anew:
        book.write(KEPT)
    elif hasattr(config, "workeroutput"):  # one of several processes: see pytest_testnodedown
        config.workeroutput["checked"] = list(book.entries)
    else:
        config.stash[CHECKED].update(book.entries)


def pytest_configure(config: pytest.Config) -> None:
    named = [Path(name).resolve() for name in config.args] == [Path(__file__).parent]
    config.stash[WHOLE] = named and not config.getoption("lf", False)
    config.stash[CHECKED] = set()
    if "PYTEST_XDIST_WORKER" in os.environ:
        import numba

        numba.set_num_threads(1)  # each process has a core to itself
    elif config.getoption("--record-errors") and config.getoption("numprocesses", None):
        raise pytest.UsageError("--record-errors writes from one process: leave out -n")


def pytest_deselected(items: list[pytest.Item]) -> None:
    items[0].config.stash[WHOLE] = False


@pytest.hookimpl(optionalhook=True)
def pytest_testnodedown(node: Any) -> None:
    """Gather which checks a process of several has made."""
    node.config.stash[CHECKED].update(getattr(node, "workeroutput", {}).get("checked", []))


def pytest_sessionfinish(session: pytest.Session) -> None:
    """Fail where a run of all tests made other checks than the table lists."""
    config = session.config
    anew = config.getoption("--record-errors") or hasattr(config, "workerinput")
    if anew or session.testsfailed or not config.stash[WHOLE]:
        return
    gone = no_longer_made(config.stash[CHECKED])
    if gone:
        print(f"\nin the table of errors, but no longer made: {gone}")
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


@pytest.fixture
def rewrite(request: pytest.FixtureRequest) -> bool:
    """Whether kept pictures are to be written anew."""
    return bool(request.config.getoption("--rewrite-pictures"))


@pytest.fixture(scope="session")
def shipped_run() -> Callable[[str], Result]:
    """Run a shipped case at coarse, once for all tests that ask for it."""
    from lapheat import read_case, simulate

    cases = Path(__file__).parents[1] / "cases"
    return cache(
        lambda name: simulate(read_case(cases / f"{name}.toml", detail="coarse"), threads=1)
    )
