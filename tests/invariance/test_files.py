"""The same case written in other units, or in another order, is the same case."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from invariance.small import run
from lapheat.api import Result
from lapheat.case.file import case_to_toml, read_case_text

CASES = sorted((Path(__file__).parents[2] / "cases").glob("*.toml"))

MILLIMETRES = """
title = "in millimetres"
[tube]
outside_diameter = "12.7 mm"
wall = "0.889 mm"
length = "25.4 mm"
[flange]
thickness = "3.175 mm"
outside_diameter = "31.75 mm"
[lap]
depth = "2.54 mm"
clearance = "0.1016 mm"
[fillet]
leg = "1.5875 mm"
wire_diameter = "1.5875 mm"
[arc]
current = "65 A"
voltage = "10 V"
spot = "2.54 mm"
aim = "0.508 mm"
work_angle = "45 deg"
[travel]
speed = "4.233333333333333 mm/s"
segment = "12.7 mm"
overlap = "1.27 mm"
pause = "2 s"
dwell = "1.5 s"
resume_below = "700 degC"
coverage = 0.5
[surroundings]
temperature = "20 degC"
convection = "10 W/(m^2 K)"
[limits]
base_margin = "50 K"
[numerics]
detail = "coarse"
[[probe]]
name = "wall"
on = "tube"
angle = "45 deg"
height = "6.35 mm"
[[probe]]
name = "plate"
on = "flange"
angle = "90 deg"
radius = "5.08 mm"
depth = "1.27 mm"
"""

INCHES = """
title = "in inches"
[tube]
outside_diameter = "1/2 in"
wall = "0.035 in"
length = "1 in"
[flange]
thickness = "1/8 in"
outside_diameter = "1.25 in"
[lap]
depth = "0.1 in"
clearance = "0.004 in"
[fillet]
leg = "1/16 in"
wire_diameter = "1/16 in"
[arc]
current = "65 A"
voltage = "10 V"
spot = "0.1 in"
aim = "0.02 in"
work_angle = "45 deg"
[travel]
speed = "10 in/min"
segment = "1/2 in"
overlap = "0.05 in"
pause = "2 s"
dwell = "1.5 s"
resume_below = "1292 degF"
coverage = 0.5
[surroundings]
temperature = "68 degF"
convection = "10 W/(m^2 K)"
[limits]
base_margin = "90 delta_degF"
[numerics]
detail = "coarse"
[[probe]]
name = "wall"
on = "tube"
angle = "45 deg"
height = "0.25 in"
[[probe]]
name = "plate"
on = "flange"
angle = "90 deg"
radius = "0.2 in"
depth = "0.05 in"
"""


def told(result: Result, folder: Path) -> bytes:
    """`outcomes.json` as written, without the wall-clock time and the digest of the case's text."""
    result.save(folder)
    apart = rb'"wall_s": [0-9.e+-]+|"case": "[0-9a-f]+"'
    bytes_, count = re.subn(apart, b"", (folder / "outcomes.json").read_bytes())
    assert count == 2
    return bytes_


def test_inches_and_millimetres_give_the_same_bytes(tmp_path: Path) -> None:
    one = told(run(MILLIMETRES), tmp_path / "mm")
    two = told(run(INCHES), tmp_path / "in")
    assert two == one


def tables(text: str) -> list[str]:
    """Text of a case file cut at the heads of its tables; what stands before them comes first."""
    first, *rest = re.split(r"^(?=\[)", text, flags=re.M)
    return [first, *rest]


TEXTS = [MILLIMETRES, *(path.read_text(encoding="utf-8") for path in CASES)]


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.sampled_from(TEXTS), st.randoms(use_true_random=False))
def test_order_of_tables_does_not_matter(text: str, random: Any) -> None:
    first, *rest = tables(text)
    probes = [table for table in rest if table.startswith("[[")]
    random.shuffle(rest)
    # the probes keep their order among themselves: it is that of the columns of probes.csv
    queue = iter(probes)
    rest = [next(queue) if table.startswith("[[") else table for table in rest]
    shuffled = "\n".join([first, *rest])
    assert tomllib.loads(shuffled) == tomllib.loads(text)
    case, other = read_case_text(text, "one.toml"), read_case_text(shuffled, "one.toml")
    assert other == case
    assert case_to_toml(other) == case_to_toml(case)


ALLOYS = """
[tube]
alloy = "mine"
[alloys.mine]
density = "7900 kg/m^3"
conductivity = { temperature = ["20 degC", "1000 degC"], value = ["15 W/(m K)", "28 W/(m K)"] }
specific_heat = "550 J/(kg K)"
solidus = "1400 degC"
liquidus = "1450 degC"
latent_heat = "270 kJ/kg"
emissivity = 0.5
[alloys.other]
density = "7850 kg/m^3"
conductivity = "40 W/(m K)"
specific_heat = "600 J/(kg K)"
emissivity = 0.8
[flange]
alloy = "other"
"""


def test_order_of_tables_changes_no_number() -> None:
    mine = tables(ALLOYS)
    first, *rest = tables(MILLIMETRES)
    for table in mine[1:]:
        head, _, body = table.partition("\n")
        known = [i for i, other in enumerate(rest) if other.startswith(f"{head}\n")]
        if known:
            rest[known[0]] += body
        else:
            rest.append(table)
    probes = [table for table in rest if table.startswith("[[")]
    others = [table for table in rest if not table.startswith("[[")]
    one, two = (
        run("\n".join([first, *blocks])).outcomes.as_dict()
        for blocks in (others + probes, probes + others[::-1])
    )
    for outcomes in (one, two):
        del outcomes["march"]["wall_s"]
    assert two == one
