"""What `find` came to on many joints, kept by `many_joints.py`."""

from __future__ import annotations

import json
from typing import Any

import pytest

from lapheat.study.find.plan import plan_of
from lapheat.study.find.seek import most_runs
from study.many_joints import KEPT, NAMED, joints

KEPT_JOINTS: dict[str, Any] = json.loads(KEPT.read_text("utf-8"))


def test_joints_are_those_of_the_seed() -> None:
    every = joints(20, 0)
    assert set(NAMED) <= set(every)
    assert set(KEPT_JOINTS) <= set(every)
    assert list(joints(10, 0)) == list(every)[: 10 + len(NAMED)]
    for source in every.values():
        source.case()


def test_how_many_random_joints_survive_is_what_the_developers_page_says() -> None:
    chances = [kept["chance"] for name, kept in KEPT_JOINTS.items() if name not in NAMED]
    assert (len(chances), sum(chance >= 0.8 for chance in chances)) == (20, 11)


@pytest.mark.parametrize("name", KEPT_JOINTS)
def test_a_joint_survives_four_benches_of_five_or_a_run_says_why_not(name: str) -> None:
    kept = KEPT_JOINTS[name]
    assert kept["low"] <= kept["chance"] <= kept["high"]
    assert kept["runs"] <= most_runs(plan_of(joints(20, 0)[name], 0.9))[0]
    if kept["sure_enough"]:
        assert kept["benches"] >= 48
        assert kept["chance"] >= 0.9
    elif kept["chance"] < 0.8:
        assert kept["fails"]
        counted = [change["chance"] for change in kept["instead"] if change["counted"]]
        assert max(counted) > kept["chance"] + 0.05
