"""Names in backticks in the package's docstrings exist."""

from __future__ import annotations

import ast
import pydoc
import re
from collections.abc import Iterator
from pathlib import Path

import lapheat
from lapheat.case.keys.schema import every_key

PACKAGE = Path(lapheat.__file__).parent
TREES = {path: ast.parse(path.read_text("utf-8")) for path in sorted(PACKAGE.rglob("*.py"))}
DOCUMENTED = ast.Module | ast.ClassDef | ast.FunctionDef
NAME = re.compile(r"(?<![`\w])`([A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*)`(?!`)")


def used(tree: ast.AST) -> Iterator[str]:
    """Every name of the code; "a.b" where an attribute is taken, or a name is inside another."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            yield node.name
            yield from (f"{node.name}.{name}" for child in node.body for name in used(child))
        elif isinstance(node, ast.Name):
            yield node.id
        elif isinstance(node, ast.arg):
            yield node.arg
        elif isinstance(node, ast.alias):
            yield node.asname or node.name
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value  # keys of tables, names of files
        elif isinstance(node, ast.Attribute):
            yield node.attr
            yield f"{ast.unparse(node.value).rpartition('.')[2]}.{node.attr}"


def known() -> set[str]:
    """Names of the package, alone and within what holds them, and keys of the case file."""
    found = {*every_key(), *(key for full in every_key() for key in full.split("."))}
    for path, tree in TREES.items():
        module = path.parent.name if path.stem == "__init__" else path.stem
        inside = set(used(tree))
        found |= inside | {module} | {f"{module}.{name}" for name in inside}
    return found


def told() -> Iterator[tuple[str, str]]:
    for path, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, DOCUMENTED) and (text := ast.get_docstring(node)):
                yield from ((f"{path.relative_to(PACKAGE)}", name) for name in NAME.findall(text))


def test_names_in_docstrings_exist() -> None:
    names = known()
    stale = sorted(
        {item for item in told() if item[1] not in names and pydoc.locate(item[1]) is None}
    )
    assert stale == []
