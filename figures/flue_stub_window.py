"""A window as the README shows it: the demo laid in turn by the clock, with no wait for cooling.

Run with ``python figures/flue_stub_window.py``; a few minutes; writes the PNG beside this file.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

HERE = Path(__file__).parent
CHANGES = (
    *("travel.order=in-turn", "travel.resume_below=1400 degC", "arc.control=steady"),
    *("travel.start=timed", "travel.dwell=4.5 s", "arc.aim=1 mm", "arc.current=61.75 A"),
)
VARY = ("travel.segment=10 mm:24 mm:7", "travel.pause=2 s:40 s:7")


def main() -> None:
    """Run the command and keep its picture."""
    command = [sys.executable, "-c", "from lapheat.cli import main; main()", "window"]
    options = [part for change in CHANGES for part in ("--set", change)]
    options += [part for axis in VARY for part in ("--vary", axis)]
    with TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        case = HERE.parent / "cases" / "flue-stub.toml"
        subprocess.run([*command, str(case), *options, "--out", str(out)], check=True)
        shutil.copy(out / "figures" / "window.png", HERE / "flue-stub-window.png")


if __name__ == "__main__":
    main()
