"""Keys with a bad name or value: file, key, what was given, what is allowed, and a hint."""

from __future__ import annotations

import pytest

from unit.casefile_samples import put, the_fault

# table, line, what the fault says is allowed, and what its hint says
BAD_LINES = [
    ("tube", 'wal = "1.65 mm"', "a key of [tube]: alloy, outside_diameter", '"wall"'),
    ("tube", 'diameter = "38 mm"', "a key of [tube]", '"outside_diameter"'),
    ("tube", 'current = "70 A"', "a key of [tube]", '"arc.current"'),
    ("tube", "wall = 1.65", "a length from 0.1 mm to 20 mm", '"1.65 mm"'),
    (
        "tube",
        'wall = "1.65"',
        "a length from 0.1 mm to 20 mm",
        'give a unit, for example "1.65 mm"',
    ),
    ("tube", 'wall = "1.65 A"', "a length from 0.1 mm to 20 mm", "A is a current, not a length"),
    ("tube", 'wall = "-1.65 mm"', "a length from 0.1 mm to 20 mm", ""),
    ("tube", 'wall = "0 mm"', "a length from 0.1 mm to 20 mm", ""),
    ("tube", 'wall = "nan mm"', "a length from 0.1 mm", "not a finite number"),
    ("tube", 'wall = "inf mm"', "a length from 0.1 mm", "not a finite number"),
    ("tube", "wall = nan", "a length from 0.1 mm", "no unit"),
    ("tube", "wall = true", "a length from 0.1 mm", "not a length"),
    ("tube", "wall = [1, 2]", "a length from 0.1 mm", "not a length"),
    ("tube", "wall = 2024-01-01", "a length from 0.1 mm", "not a length"),
    ("tube", 'wall = "19.05 mm"', "a wall thinner than the tube's radius, 19.05 mm", ""),
    ("tube", 'outside_diameter = "2 m"', "a length from 3 mm to 500 mm", ""),
    ("tube", 'outside_diameter = "1,5 in"', "a length from 3 mm", "1.5 not 1,5"),
    ("tube", 'outside_diameter = "1.5 ich"', "a length from 3 mm", "not a unit"),
    ("tube", 'length = "0 mm"', "a length from 2 mm to 2000 mm", ""),
    ("tube", 'alloy = "304 L"', "a built-in alloy (304, 304L", '"304L"'),
    ("tube", 'alloy = "unobtainium"', "one of your own [alloys.NAME]", ""),
    ("tube", "alloy = true", "the name of an alloy", "quotes"),
    ("tube", 'alloy = ""', "the name of an alloy", "empty"),
    ("flange", 'thickness = "1/4"', "a length from 0.3 mm to 100 mm", '"1/4 in"'),
    ("flange", 'outside_diameter = "44 mm"', "above 44.1 mm", ""),
    ("flange", 'bore = "38 mm"', "a key of [flange]", ""),
    ("lap", 'depth = "7 mm"', "at most the flange thickness, 6.35 mm", "left out"),
    ("lap", 'clearance = "0 mm"', "a length from 0.005 mm to 2 mm", ""),
    ("fillet", 'leg = "100 mm"', "a length from 0.5 mm to 25 mm", ""),
    ("fillet", 'filler = "CuSi3"', "a built-in alloy", '"CuSi3Mn1"'),
    ("fillet", 'wire_diameter = "1.6"', "a length from 0.3 mm to 8 mm", '"1.6 mm"'),
    ("arc", "current = 70", "a current from 1 A to 1000 A", '"70 A"'),
    ("arc", 'current = "70 V"', "a current from 1 A", "V is a voltage, not a current"),
    ("arc", 'voltage = "0 V"', "a voltage from 1 V to 100 V", ""),
    ("arc", "efficiency = 0", "a number above 0 and at most 1", ""),
    ("arc", "efficiency = 1.01", "a number above 0 and at most 1", ""),
    ("arc", "efficiency = nan", "a number above 0", "not a finite number"),
    ("arc", "efficiency = true", "a number above 0", "not a number"),
    ("arc", 'efficiency = "0.7 mm"', "a number above 0", "leave the unit out"),
    ("arc", 'spot = "11 mm"', "a length from 0.2 mm to 10 mm", ""),
    ("arc", 'work_angle = "90 deg"', "an angle from 5 deg to 85 deg", ""),
    ("arc", "work_angle = 45", "an angle from 5 deg", '"45 deg"'),
    ("arc", 'aim = "40 mm"', "less than 30.95 mm", ""),
    ("arc", 'control = "peddle"', '"steady" or "pedal"', '"pedal"'),
    ("arc", "control = true", '"steady" or "pedal"', ""),
    ("arc", 'hold = "1100 C"', "a temperature from 50 degC to 3000 degC", "write degC"),
    ("arc", 'hold = "40 degC"', "a temperature from 50 degC", ""),
    ("arc", 'current_range = "20 A"', "the lowest and the highest in brackets", "for example"),
    ("arc", 'current_range = ["20 A"]', "each a current from 0.1 A to 1500 A", "for example"),
    ("arc", 'current_range = ["90 A", "20 A"]', "the lowest and the highest", "stands first"),
    ("arc", 'current_range = ["20 A", "20 A"]', "the lowest and the highest", "stands first"),
    ("arc", 'current_range = ["20 A", "90 V"]', "each a current", "V is a voltage"),
    ("arc", 'current_range = ["0 A", "90 A"]', "each a current from 0.1 A to 1500 A", "for"),
    ("arc", "current_range = [20, 90]", "each a current", "no unit"),
    ("arc", 'pedal_lag = "0 s"', "a time from 0.05 s to 10 s", ""),
    ("arc", 'pedal_lag = "11 s"', "a time from 0.05 s to 10 s", ""),
    ("arc", 'pedal_lag = "0.3 A"', "a time from 0.05 s", "A is a current, not a time"),
    ("travel", 'speed = "0 mm/s"', "a speed from 0.05 mm/s", ""),
    ("travel", 'speed = "2.5 mm"', "a speed from 0.05 mm/s", "mm is a length, not a speed"),
    ("travel", 'segment = "120 mm"', "at most the tube's circumference, 119.69 mm", ""),
    ("travel", 'pause = "-1 s"', "a time from 0 s to 3600 s", ""),
    ("travel", 'overlap = "15 mm"', "less than one segment, 14.962 mm (8 close the ring)", ""),
    ("travel", 'resume_below = "24 degC"', "at least 25 degC", "never cools"),
    ("travel", 'resume_below = "150 delta_degC"', "a temperature from", "a difference"),
    ("travel", 'resume_below = "150 C"', "a temperature from", "write degC"),
    ("travel", 'order = "oposite"', '"in-turn", "opposite"', '"opposite"'),
    ("travel", "order = 3", "list of segment numbers from 1", "for example"),
    ("travel", "order = []", "list of segment numbers from 1", "for example"),
    ("travel", "order = [1, 2.5]", "list of segment numbers from 1", "for example"),
    ("travel", "order = [1, true]", "list of segment numbers from 1", "for example"),
    ("travel", "order = [0, 1, 2]", "segment numbers from 1", "there is no segment 0"),
    ("travel", "order = [1, 2, 3, 4, 5, 6, 7, 9]", "from 1 to 8", "there is no segment 9"),
    ("travel", "order = [1, 2, 2]", "each once", "segment 2 stands in it twice"),
    ("travel", "order = [1, 3, 5]", "at least 8 of them", "missing: 2, 4, 6, 7, 8"),
    ("travel", "coverage = 0", "a number above 0 and at most 1", ""),
    ("travel", "coverage = 1.5", "a number above 0 and at most 1", ""),
    ("travel", 'start = "onflow"', '"timed" or "on-flow"', '"on-flow"'),
    ("travel", "start = 3", '"timed" or "on-flow"', ""),
    ("travel", 'dwell_limit = "0 s"', "a time from 0.1 s to 600 s", ""),
    ("travel", "dwell_limit = 10", "a time from 0.1 s", '"10 s"'),
    ("surroundings", 'temperature = "-300 degC"', "a temperature from -60 degC", ""),
    ("surroundings", 'convection = "10 W/m2"', "a film coefficient from", "write W/(m^2 K)"),
    ("limits", 'base_margin = "50 degC"', "a temperature difference", "write delta_degC or K"),
    ("limits", "base_margin = 50", "a temperature difference", '"50 K"'),
    ("limits", "wet_fraction = 95", "a number above 0 and at most 1", ""),
    ("numerics", 'detail = "finest"', '"coarse" or "standard" or "fine"', '"fine"'),
    ("numerics", 'order = "opposite"', "a key of [numerics]: detail", '"travel.order"'),
]


@pytest.mark.parametrize(("table", "line", "allowed", "hint"), BAD_LINES)
def test_bad_line(table: str, line: str, allowed: str, hint: str) -> None:
    fault = the_fault(put(table, line))
    assert fault.file == "stub.toml"
    assert fault.key == f"{table}.{line.partition('=')[0].strip()}"
    assert fault.given[:8] == line.partition("=")[2].strip()[:8]
    assert allowed in fault.allowed
    assert hint in fault.hint
