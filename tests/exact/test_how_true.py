"""The table of errors is the one the tests wrote down, and holds today."""

from __future__ import annotations

import pytest

from exact.errors import KEPT, Entry, Record, kept_in, no_longer_made
from how_true import PAGE, page, table


def test_the_page_is_what_the_tests_found() -> None:
    assert PAGE.read_text(encoding="utf-8") == page()
    assert len(table().splitlines()) > 60


def test_an_error_that_has_moved_is_refused() -> None:
    book = Record(kept={"it": Entry("it", "nobody", 0.5, 1.0, "K")})
    book("it", "nobody", 0.55, 1.0, "K")
    with pytest.raises(AssertionError, match="record it anew"):
        book("it", "nobody", 0.7, 1.0, "K")
    with pytest.raises(AssertionError, match="record it anew"):
        book("something new", "nobody", 0.1, 1.0, "K")
    with pytest.raises(AssertionError, match="more than 1"):
        book("it", "nobody", 1.1, 1.0, "K")


def test_a_check_that_is_no_longer_made_is_named() -> None:
    assert no_longer_made([]) == sorted(kept_in(KEPT))
    assert no_longer_made(list(kept_in(KEPT))[1:]) == list(kept_in(KEPT))[:1]
    assert no_longer_made(kept_in(KEPT)) == []
