"""The tour in `cases/tour.ipynb` runs as it is, and shows what it says."""

from __future__ import annotations

import ast
import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from matplotlib import pyplot

from lapheat import Answer
from lapheat.api import Result

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.slow
def test_the_tour_runs_from_top_to_bottom(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("thin-sleeve.toml", "test-bead.toml"):
        shutil.copy(CASES / name, tmp_path)
    monkeypatch.chdir(tmp_path)
    tour = json.loads((CASES / "tour.ipynb").read_text("utf-8"))
    assert (tour["nbformat"], tour["nbformat_minor"]) == (4, 5)
    names: dict[str, Any] = {}
    shown: list[Any] = []
    for cell in tour["cells"]:
        if cell["cell_type"] == "code":
            assert cell["outputs"] == []
            shown.append(_run("".join(cell["source"]), names))
    pyplot.close("all")
    assert isinstance(shown[0], Result)
    assert [value.name for value in shown if isinstance(value, Answer)] == [
        "compare", "sequences", "risk",
    ]  # fmt: skip
    for value in shown:
        if isinstance(value, Result | Answer):
            assert value._repr_html_().startswith("<div><p><b>")
    fitted = names["fitted"].to_frame().set_index("name")["value"]
    assert fitted["efficiency"] == pytest.approx(0.68, abs=0.01)
    assert fitted["spot"] == pytest.approx(1.9e-3, abs=0.1e-3)
    assert (tmp_path / "tour.out" / "sheet.pdf").exists()
    assert list((tmp_path / "tour.out").glob("film.*"))


def _run(source: str, names: dict[str, Any]) -> Any:
    """Run a cell; the value of its last line, as a notebook shows it."""
    lines = ast.parse(source).body
    last = lines.pop() if isinstance(lines[-1], ast.Expr) else None
    exec(compile(ast.Module(lines, []), "tour.ipynb", "exec"), names)
    if isinstance(last, ast.Expr):
        return eval(compile(ast.Expression(last.value), "tour.ipynb", "eval"), names)
    return None
