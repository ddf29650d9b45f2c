"""The search for settings of the demo joint as the README shows it, seed 0.

Run with ``python figures/flue_stub_find.py``; some minutes; writes the PNG beside this file.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent


def main() -> None:
    """Run the command and keep its picture."""
    command = [sys.executable, "-c", "from lapheat.cli import main; main()", "find"]
    with TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        case = HERE.parent / "cases" / "flue-stub-joint.toml"
        subprocess.run([*command, str(case), "--out", str(out)], check=True)
        shutil.copy(out / "figures" / "find.png", HERE / "flue-stub-find.png")


if __name__ == "__main__":
    main()
