"""The demo as the README shows it: peaks unrolled.

Run with ``python figures/flue_stub.py``; writes the PNG beside this file.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from lapheat import read_case, simulate
from lapheat.report.figures import save_figures

HERE = Path(__file__).parent


def main() -> None:
    """Run the demo at standard detail and keep one of its figures."""
    result = simulate(read_case(HERE.parent / "cases" / "flue-stub.toml"))
    print(result.outcomes.verdict.summary)
    with TemporaryDirectory() as folder:
        save_figures(result.history, Path(folder))
        shutil.copy(Path(folder) / "peaks.png", HERE / "flue-stub-peaks.png")


if __name__ == "__main__":
    main()
