"""Intervals of chances from 64 runs against 4096 counted ones, kept by `seeds_of_chance.py`."""

from __future__ import annotations

import json

import numpy as np
import pytest

from lapheat.study.chance.bench import wilson
from lapheat.study.chance.samples import run_sample
from study.seeds_of_chance import FEW, KEPT, RUNS, SETTINGS, benches, held, sample, told


@pytest.mark.parametrize("name", SETTINGS)
def test_64_runs_hold_what_4096_count_in_95_of_100_seeds(name: str) -> None:
    found, seeds = held(name), RUNS // FEW
    assert min(found["truth"][2], 1.0 - found["truth"][2]) > 0.05  # it is no trivial answer
    assert min(found["held"]) >= 0.95 * seeds, found
    # a chance that was hardly ever integrated would hold as well, and tell no more than counting
    assert found["integrated"] >= 0.8 * seeds
    low, high = wilson(FEW * found["truth"][2], FEW)
    assert found["width"][2] < 0.6 * (high - low)


@pytest.mark.parametrize("name", SETTINGS)
def test_kept_runs_are_all_there_and_still_what_the_program_computes(name: str) -> None:
    kept = json.loads(KEPT.read_text("utf-8"))[name]
    at = benches(name)
    assert at.shape == (RUNS, kept["inputs"])
    assert np.shape(kept["margin_slack_K"]) == (RUNS, 2)
    for i in (0, RUNS - 1):
        assert told(run_sample(sample(name, at[i]))) == pytest.approx(
            kept["margin_slack_K"][i], abs=0.5
        )
