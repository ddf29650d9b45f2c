"""Progress in a notebook: shown there with the time left, and nowhere else."""

from __future__ import annotations

import sys
from types import ModuleType, SimpleNamespace
from typing import Any

import pytest

from invariance.small import SMALL, text_of
from lapheat.api import simulate
from lapheat.case.file import read_case_text
from lapheat.report import notebook


@pytest.fixture
def shown(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Stand in for a notebook; the texts that its line has held."""
    texts: list[str] = []

    class Handle:
        def update(self, what: dict[str, str], raw: bool) -> None:
            assert raw
            texts.append(what["text/plain"])

    def display(*_: Any, **__: Any) -> Handle:
        return Handle()

    python, shows = ModuleType("IPython"), ModuleType("IPython.display")
    python.get_ipython = lambda: SimpleNamespace(kernel=None)  # type: ignore[attr-defined]
    shows.display = display  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "IPython", python)
    monkeypatch.setitem(sys.modules, "IPython.display", shows)
    return texts


def test_time_left_follows_from_what_is_done(
    shown: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = iter((100.0, 101.0, 110.0, 110.1, 140.0))
    monkeypatch.setattr(notebook, "monotonic", lambda: next(clock))
    count = notebook.notebook_count()
    assert count is not None
    for done in (0, 10, 11, 40):
        count("mapping", done, 40)
    # 10 of 40 after 10 s; the next comes too soon to be shown; the last always is
    assert shown == ["mapping: 0 of 40", "mapping: 10 of 40, 30 s left", "mapping: 40 of 40"]


def test_a_run_shows_where_it_is(shown: list[str]) -> None:
    simulate(read_case_text(text_of(SMALL), "small.toml"), threads=1)
    assert shown
    assert all("simulated seconds" in text for text in shown)


def test_nothing_shows_outside_a_notebook(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delitem(sys.modules, "IPython", raising=False)
    assert notebook.notebook_count() is None
    terminal = ModuleType("IPython")
    terminal.get_ipython = lambda: SimpleNamespace()  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "IPython", terminal)
    assert notebook.notebook_count() is None  # IPython in a terminal has no kernel
