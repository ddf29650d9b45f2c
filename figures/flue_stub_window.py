"""A window as the README shows it: how hot the demo's hand holds, and where it aims.

Run with ``python figures/flue_stub_window.py``; a few minutes; writes the PNG beside this file.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
VARY = ("arc.hold=1180 degC:1360 degC:7", "arc.aim=0.2 mm:1.7 mm:7")


def main() -> None:
    """Run the command and keep its picture."""
    command = [sys.executable, "-c", "from lapheat.cli import main; main()", "window"]
    options = [part for axis in VARY for part in ("--vary", axis)]
    with TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        case = HERE.parent / "cases" / "flue-stub.toml"
        subprocess.run([*command, str(case), *options, "--out", str(out)], check=True)
        shutil.copy(out / "figures" / "window.png", HERE / "flue-stub-window.png")


if __name__ == "__main__":
    main()
