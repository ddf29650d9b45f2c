"""The demo as the README shows it: peaks unrolled, and the section at its hottest.

Run with ``python figures/flue_stub.py``; writes the PNGs beside this file.
"""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from lapheat import read_case, simulate
from lapheat.figures import save_figures

HERE = Path(__file__).parent


def main() -> None:
    """Run the demo at standard detail and keep two of its figures."""
    result = simulate(read_case(HERE.parent / "cases" / "flue-stub.toml"))
    print(result.outcomes.verdict.summary)
    with TemporaryDirectory() as folder:
        save_figures(result.history, Path(folder))
        for name in ("peaks", "section"):
            shutil.copy(Path(folder) / f"{name}.png", HERE / f"flue-stub-{name}.png")


if __name__ == "__main__":
    main()
