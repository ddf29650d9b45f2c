"""The README's table of errors is the one the tests wrote down."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]


def test_readme_table_is_what_the_tests_found() -> None:
    sys.path.insert(0, str(ROOT / "figures"))
    try:
        import how_true
    finally:
        sys.path.remove(str(ROOT / "figures"))
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = text.split(how_true.BEGIN)[1].split(how_true.END)[0].strip()
    assert shown == how_true.table()
    assert len(shown.splitlines()) > 60
