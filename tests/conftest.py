"""What every test may use: `record`, which holds an error to its bound and can write it down."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

# FiPy's solver takes short products of vectors: on a busy machine BLAS threads make each of them
# a hundred times slower. Read by numpy when it is first imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from exact.errors import Record, kept_in

if TYPE_CHECKING:
    from lapheat.api import Result

WHOLE = pytest.StashKey[bool]()  # all tests run, none was left out


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
    anew = request.config.getoption("--record-errors")
    path = Path(__file__).parent / "exact" / "errors.json"
    book = Record(show=anew, kept=None if anew else kept_in(path))
    yield book
    config, session = request.config, request.session
    if anew:
        book.write(path)
    elif config.stash[WHOLE] and not session.testsfailed:
        book.whole()


def pytest_configure(config: pytest.Config) -> None:
    named = [Path(name).resolve() for name in config.args] == [Path(__file__).parent]
    config.stash[WHOLE] = named and not config.getoption("lf", False)


def pytest_deselected(items: list[pytest.Item]) -> None:
    items[0].config.stash[WHOLE] = False


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
