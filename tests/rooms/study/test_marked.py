"""Kept rows: what makes them is in their key, so that an edit of it discards them."""

from __future__ import annotations

import ast
import importlib
from collections.abc import Iterator
from pathlib import Path

import lapheat
from lapheat.study.chance.samples import Sample
from lapheat.study.runs import Source, Trial
from lapheat.version import _MAKES_ROWS

PACKAGE = Path(lapheat.__file__).parent


def works() -> Iterator[tuple[str, str]]:
    """Give the place and the work of every `Round` whose rows are kept."""
    for path in sorted((PACKAGE / "study").rglob("*.py")):
        module = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not (isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Round"):
                continue
            if not any(keyword.arg == "kept" for keyword in call.keywords):
                assert isinstance(call.args[1], ast.Name)
                yield module, call.args[1].id


def test_the_module_of_every_kept_work_is_in_the_mark() -> None:
    found = {getattr(importlib.import_module(module), work).__module__ for module, work in works()}
    assert {"lapheat.study.explain.measures", "lapheat.study.runs.trial"} < found
    for module in [*found, "lapheat.api"]:
        path = "/".join(module.split(".")[1:]) + ".py"
        assert any(path == part or path.startswith(f"{part}/") for part in _MAKES_ROWS), path
    assert all((PACKAGE / part).exists() for part in _MAKES_ROWS)


def test_a_sample_that_is_refused_has_its_changes_in_its_key() -> None:
    inputs = (("arc.current", "-1 A"),)
    sources = Source("", "a.toml"), Source("", "a.toml", ("travel.pause=30 s",))
    first, second = (Sample(Trial(source, inputs)).key() for source in sources)
    assert first != second
