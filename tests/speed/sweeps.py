"""How fast sweeps are on this machine, nothing else running: ``python tests/speed/sweeps.py``.

Two worker processes against one on the same trials of the demo at coarse, wanted at least 1.8 times
as fast; and the demo's window of segment by pause, seven by seven, wanted within a minute.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

from lapheat.study.runs import Processes, RowFile, Source, Trial, collect, run_trial, warm_up

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "cases" / "flue-stub.toml"
COUNT = 16


def seconds_of(workers: int, trials: list[Trial]) -> float:
    """Time of the trials once the workers are up."""
    with Processes(workers, warm_up) as pool:
        collect(pool, run_trial, trials[:workers], RowFile())
        began = time.perf_counter()
        collect(pool, run_trial, trials, RowFile())
        return time.perf_counter() - began


def main() -> None:
    source = Source.of(DEMO)
    trials = [Trial(source, (("arc.current", f"{60 + n} A"),)) for n in range(COUNT)]
    one, two = seconds_of(1, trials), seconds_of(2, trials)
    print(f"{COUNT} trials: {one:.1f} s by one process, {two:.1f} s by two: {one / two:.2f} times")
    command = [sys.executable, "-c", "from lapheat.cli import main; main()", "window", str(DEMO)]
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        subprocess.run([*command, "--out", f"{folder}/demo"], check=True, stdout=subprocess.DEVNULL)
        print(f"window of the demo: {time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
