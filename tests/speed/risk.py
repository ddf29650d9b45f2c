"""How fast the risk of the demo is, nothing else running: ``python tests/speed/risk.py``.

256 samples on two processes, everything from start to files, wanted within 90 s.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

DEMO = Path(__file__).parents[2] / "cases" / "flue-stub.toml"


def main() -> None:
    command = [sys.executable, "-c", "from lapheat.cli import main; main()", "risk", str(DEMO)]
    more = ["--samples", "256", "--within", "0", "--workers", "2"]
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        out = ["--out", f"{folder}/demo"]
        subprocess.run([*command, *more, *out], check=True, stdout=subprocess.DEVNULL)
        print(f"risk of the demo, 256 samples: {time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
