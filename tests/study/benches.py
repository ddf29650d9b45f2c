"""A made-up bench on which everything is a straight line, so that chances and drivers are known."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from lapheat.case.units import read_quantity
from lapheat.study.chance.bench import HALF, inputs_of
from lapheat.study.risk.risk import Sample
from lapheat.study.runs import Source
from lapheat.study.runs.executors import Row

TINY = Path(__file__).parent / "tiny.toml"
MADE_UP = Source.of(TINY, ('numerics.detail="coarse"',))
INPUTS = inputs_of(MADE_UP.case())
# what margin and slack do with each input one standard deviation up [K]
BASE_WEIGHTS = {"current": -40.0, "speed": 30.0, "wall": 12.0}
FILLER_WEIGHTS = {"current": 25.0, "aim": 10.0}


def offsets(sample: Sample) -> dict[str, float]:
    """Each input of a sample, in its standard deviations."""
    drawn, found = dict(sample.trial.inputs), {}
    for item in INPUTS:
        size = item.spread.size
        value = float(read_quantity(drawn[item.key], item.kind)) if drawn else item.value
        if item.spread.way == "share":
            found[item.name] = HALF * (value / item.value - 1.0) / size
        elif item.spread.way == "amount":
            found[item.name] = HALF * (value - item.value) / size
        else:
            found[item.name] = HALF * float(np.log(value / item.value) / np.log(size))
    return found


def made_up(sample: Sample, margin: float = 60.0, slack: float = 80.0) -> Row:
    """Row of a bench on which everything is a straight line."""
    z = offsets(sample)
    m = margin + sum(weight * z[name] for name, weight in BASE_WEIGHTS.items())
    s = slack + sum(weight * z[name] for name, weight in FILLER_WEIGHTS.items())
    binding = "limits.wet_fraction" if z["spot"] < 0.0 else "limits.dry_length"
    told: Row = {"filler_slack_K": s, "surplus_K": s + 10.0, "filler_binding": binding}
    return {"margin_K": m, **told, "total_s": 100.0, "failed": None}
