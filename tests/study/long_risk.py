"""The risk of the demo from 256 samples and, in an hour or so, from 4096 of another seed.

    PYTHONPATH=sim python tests/study/long_risk.py [SAMPLES]

What comes out is kept in `risk_of_demo.json`, with the first rows of each. Rows are kept while it
runs; started again it goes on from them.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

from lapheat.study import Processes, RowFile, Source, warm_up
from lapheat.study.risk import assess, plan_of
from lapheat.study.risk_files import risk_dict
from lapheat.version import __version__

HERE = Path(__file__).parent
DEMO = HERE.parents[1] / "cases" / "flue-stub.toml"
KEPT = HERE / "risk_of_demo.json"
ROWS = HERE / "risk_of_demo.rows"
SHORT, LONG = 256, 4096
FIRST = 4  # rows kept of the short one, to see whether it is still of this program


def summary(samples: int, seed: int, executor: Processes, store: RowFile) -> dict[str, Any]:
    """Run one assessment of the demo to the end; what is kept of it."""
    plan = plan_of(Source.of(DEMO), "coarse", samples, seed, within=0.0)

    def told(doing: str, done: int, count: int) -> None:
        if done % 64 == 0:
            print(f"{time.strftime('%H:%M:%S')} {doing}: {done} of {count}", flush=True)

    risk = assess(plan, executor, store, told)
    whole = risk_dict(risk)
    names = ("samples", "seed", "failed", "detail", "base_melts", "base_short_of_margin")
    more = ("filler_cold", "trusted", "drivers")
    first = [{name: row[name] for name in ("margin_K", "surplus_K")} for row in risk.rows[:FIRST]]
    return {**{name: whole[name] for name in (*names, *more)}, "first": first}


def main(longest: int) -> None:
    """Run both and keep them."""
    with Processes(None, warm_up) as executor, RowFile(ROWS, resume=True) as store:
        kept = {
            "command": "PYTHONPATH=sim python tests/study/long_risk.py",
            "version": __version__,
            "short": summary(SHORT, 0, executor, store),
            "long": summary(longest, 1, executor, store),
        }
    KEPT.write_text(json.dumps(kept, indent=1) + "\n", "utf-8")
    ROWS.unlink()


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else LONG)
