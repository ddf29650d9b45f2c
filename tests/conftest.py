"""What every test may use: `record`, which holds an error to its bound and can write it down."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from exact.errors import Record


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


@pytest.fixture(scope="session")
def record(request: pytest.FixtureRequest) -> Iterator[Record]:
    """Hold an error to its bound; with --record-errors also keep it for the README."""
    book = Record(show=request.config.getoption("--record-errors"))
    yield book
    if request.config.getoption("--record-errors"):
        book.write(Path(__file__).parent / "exact" / "errors.json")
