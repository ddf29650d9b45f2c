"""What the house looks like, in numbers: ``python tests/house.py [FOLDER OF THE PACKAGE]``.

Modules at the top level, the largest folder, layers, the longest argument list, asserts on
Optional, the longest function, the longest module, and words of the README.
"""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path


def numbers(package: Path) -> dict[str, str]:
    """Each number by its name."""
    files = sorted(package.rglob("*.py"))
    trees = {path: ast.parse(path.read_text()) for path in files}
    folders = {
        folder: sum(item.suffix == ".py" and item.stem != "__init__" for item in folder.iterdir())
        for folder in {path.parent for path in files}
    }
    largest = max(folders, key=lambda folder: folders[folder])
    functions = [
        (path, node)
        for path, tree in trees.items()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
    ]

    def arguments(node: ast.FunctionDef) -> int:
        return len(node.args.posonlyargs + node.args.args + node.args.kwonlyargs)

    def lines(node: ast.FunctionDef) -> int:
        return (node.end_lineno or node.lineno) - node.lineno + 1

    most = max(functions, key=lambda item: arguments(item[1]))
    longest = max(functions, key=lambda item: lines(item[1]))
    asserts = sum(
        isinstance(node, ast.Assert) and "is not None" in ast.unparse(node.test)
        for tree in trees.values()
        for node in ast.walk(tree)
    )
    project = package.parents[1]
    config = (project / "pyproject.toml").read_text()
    layers = re.search(r'containers = \["lapheat"\].*?layers = \[(.*?)\n\]', config, re.DOTALL)
    module = max(files, key=lambda path: len(path.read_text().splitlines()))
    name = str(largest.relative_to(package))
    return {
        "modules at the top level": str(folders[package]),
        "largest folder": f"{folders[largest]} modules ({'top level' if name == '.' else name})",
        "layers": str(layers[1].count("\n") if layers else 0),
        "longest argument list": f"{arguments(most[1])} ({most[0].stem}.{most[1].name})",
        "asserts on Optional": str(asserts),
        "longest function": f"{lines(longest[1])} lines ({longest[0].stem}.{longest[1].name})",
        "longest module": f"{len(module.read_text().splitlines())} lines ({module.stem})",
        "words of the README": str(len((project / "README.md").read_text().split())),
        "words of DEVELOPERS": str(len((project / "DEVELOPERS.md").read_text().split())),
    }


if __name__ == "__main__":
    here = Path(__file__).parents[1] / "sim/lapheat"
    for what, number in numbers(Path(sys.argv[1]) if len(sys.argv) > 1 else here).items():
        print(f"{what:26} {number}")
