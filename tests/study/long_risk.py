"""A risk from 128 samples and, much longer, from 1024 of another seed (demo: 512).

    PYTHONPATH=sim:tests python tests/study/long_risk.py bead    some minutes on two idle cores
    PYTHONPATH=sim:tests python tests/study/long_risk.py demo    twenty minutes or more

What comes out is kept in `risk_of_bead.json` and `risk_of_demo.json`, with the first rows; a test
takes up what is there. Rows are kept while it runs: started again it goes on from them.
"""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path
from typing import Any

from lapheat.study.risk.files import risk_dict
from lapheat.study.risk.risk import assess, plan_of
from lapheat.study.runs import Processes, RowFile, Source, drive, warm_up
from lapheat.version import __version__
from study.full_map import STEADY

HERE = Path(__file__).parent
BEAD = """
title = "Small test bead, too hot"
joint = "bead-on-tube"
tube = { outside_diameter = "8 mm", wall = "1 mm", length = "20 mm" }
arc = { current = "37 A", voltage = "10 V", spot = "2 mm" }
travel = { speed = "5 mm/s", segment = "8 mm", pause = "1 s", coverage = 0.3 }
numerics = { detail = "coarse" }
"""
SHORT, LONG = 128, {"bead": 1024, "demo": 512}
BY_CLOCK = (*STEADY, "arc.current=70 A")  # both chances lie well between 0 and 1
FIRST = 2  # rows kept of the short one, to see whether it is still of this program


def source_of(name: str) -> Source:
    """The demo laid by the clock at a steady current, or the small bead."""
    if name == "demo":
        return Source.of(HERE.parents[1] / "cases" / "flue-stub.toml", BY_CLOCK)
    return Source(BEAD, "bead.toml")


def summary(
    source: Source, samples: int, seed: int, executor: Processes, store: RowFile
) -> dict[str, Any]:
    """Run one assessment to the end; what is kept of it."""
    plan = plan_of(source, "coarse", samples, seed, within=0.0)

    def told(doing: str, done: int, count: int) -> None:
        if done % 256 == 0:
            print(f"{time.strftime('%H:%M:%S')} {doing}: {done} of {count}", flush=True)

    risk = drive(assess(plan), executor, store, told)
    whole = risk_dict(risk)
    names = ("samples", "seed", "failed", "detail", "base_melts", "base_short_of_margin")
    more = ("filler_cold", "trusted", "drivers")
    first = [
        {name: row[name] for name in ("margin_K", "filler_slack_K")} for row in risk.rows[:FIRST]
    ]
    return {**{name: whole[name] for name in (*names, *more)}, "first": first}


def main(name: str) -> None:
    """Run both and keep them."""
    rows = HERE / f"risk_of_{name}.rows"
    with Processes(None, warm_up) as executor, RowFile(rows, resume=True) as store:
        kept = {
            "command": f"PYTHONPATH=sim:tests python tests/study/long_risk.py {name}",
            "case": name,
            "version": __version__,
            "short": summary(source_of(name), SHORT, 0, executor, store),
            "long": summary(source_of(name), LONG[name], 1, executor, store),
        }
    (HERE / f"risk_of_{name}.json").write_text(json.dumps(kept, indent=1) + "\n", "utf-8")
    rows.unlink()


if __name__ == "__main__":
    main("demo" if sys.argv[1:] == ["demo"] else "bead")
