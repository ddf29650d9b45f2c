"""A joint made of formulas, whose chances can be counted at leisure: for the search of `find`."""

from __future__ import annotations

from lapheat.case.units import CURRENT, LENGTH, SPEED, TEMPERATURE, TIME, read_quantity
from lapheat.study.runs import Row, Trial

TEXT = """
tube = { outside_diameter = "38 mm", wall = "1.6 mm" }
flange = { thickness = "6 mm", outside_diameter = "100 mm" }
arc = { current = "70 A", length = "3 mm" }
travel = { speed = "2 mm/s", segment = "12 mm", pause = "15 s" }
numerics = { detail = "coarse" }
bench = { hand = "pedal", current_range = ["40 A", "120 A"] }
"""
KINDS = {
    "arc.current": CURRENT,
    "arc.aim": LENGTH,
    "travel.speed": SPEED,
    "travel.segment": LENGTH,
    "travel.pause": TIME,
    "arc.hold": TEMPERATURE,
    "arc.length": LENGTH,
    "tube.wall": LENGTH,
}


def formulas(trial: Trial) -> Row:
    """Margin, slack and time of a joint that melts with a high hold and stays cold with a low."""
    given = {k: float(read_quantity(t, KINDS[k])) for k, t in trial.inputs if k in KINDS}
    factor = {k: float(t) for k, t in trial.inputs if k.startswith("scale.")}
    hold = given.get("arc.hold", 1500.0) - 273.15
    aim = 1e3 * given.get("arc.aim", 0.0)
    current = given.get("arc.current", 70.0)
    speed = 1e3 * given.get("travel.speed", 2e-3)
    wide = factor["scale.spot"] * (1e3 * given["arc.length"] / 3.0) ** 0.4
    wall = 1e3 * given["tube.wall"] / 1.6
    margin = (
        1400.0 - hold - 60.0 * (1.2 - aim) ** 2 * wide + 80.0 * (wall - 1.0) - 0.4 * (current - 70)
    )
    slack = 0.8 * (hold - 1150.0) + 90.0 * (1.0 - speed / 2.0) - 50.0 * (aim - 0.8) ** 2 / wide
    time = 120.0 / speed + 8.0 * given.get("travel.pause", 15.0)
    return {
        "margin_K": margin, "filler_slack_K": slack, "total_s": time, "failed": None,
        "surplus_K": slack + 10.0, "base_stays_solid": margin >= 50.0, "filler_flows": slack >= 0.0,
        "filler_binding": "limits.wet_fraction",
    }  # fmt: skip


LOOK = "Look at the lap."


def formulas_said(trial: Trial) -> Row:
    """The same, with what the run of a pick says besides."""
    return {**formulas(trial), "also_look_at": f'["{LOOK}"]'}
