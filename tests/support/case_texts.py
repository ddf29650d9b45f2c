"""Small good cases, and helpers to spoil them, for the tests of case files."""

from __future__ import annotations

import pytest

from lapheat.case.file import CaseError, Fault, read_case_text
from lapheat.joint.lines import mesh_lines

BASE = """
[tube]
outside_diameter = "38.1 mm"
wall = "1.65 mm"
length = "100 mm"
[flange]
thickness = "6.35 mm"
outside_diameter = "100 mm"
[lap]
[fillet]
leg = "3 mm"
[arc]
current = "70 A"
[travel]
speed = "2.5 mm/s"
segment = "15 mm"
pause = "15 s"
[surroundings]
[limits]
[numerics]
"""

BEAD = """
joint = "bead-on-tube"
[tube]
outside_diameter = "38.1 mm"
wall = "1.65 mm"
length = "100 mm"
[arc]
current = "40 A"
[travel]
speed = "2.5 mm/s"
segment = "15 mm"
pause = "15 s"
"""

ALLOY = """
[alloys.mine]
density = "7900 kg/m^3"
conductivity = "15 W/(m K)"
specific_heat = "500 J/(kg K)"
solidus = "1400 degC"
liquidus = "1450 degC"
latent_heat = "270 kJ/kg"
emissivity = 0.5
"""

PROBE = '\n[[probe]]\nname = "toe"\non = "tube"\nheight = "6 mm"\n'

FIXTURE = """
[fixture]
chill_alloy = "copper"
chill_length = "20 mm"
chill_wall = "6 mm"
chill_conductance = "1000 W/(m^2 K)"
bench_conductance = "300 W/(m^2 K)"
bench_temperature = "35 degC"
"""

TACK = '\n[[tack]]\nangle = "40 deg"\nlength = "6 mm"\n'
ARC_TACK = TACK.replace("40", "160") + 'current = "60 A"\ntime = "3 s"\n'


def faults_of(text: str, *overrides: str) -> tuple[Fault, ...]:
    with pytest.raises(CaseError) as caught:
        mesh_lines(read_case_text(text, "stub.toml", overrides))
    message = str(caught.value)
    for fault in caught.value.faults:
        assert fault.file in message
        assert fault.key in message
        assert fault.given in message
        assert fault.allowed in message
        assert fault.hint in message
    return caught.value.faults


def the_fault(text: str, *overrides: str) -> Fault:
    faults = faults_of(text, *overrides)
    assert len(faults) == 1, faults
    return faults[0]


def put(table: str, line: str, base: str = BASE) -> str:
    """Base with one line more under a table, in place of that key's old line."""
    key = line.partition("=")[0].strip()
    rows, inside = [], False
    for row in base.splitlines():
        if row.startswith("["):
            inside = row == f"[{table}]"
        if not (inside and row.partition("=")[0].strip() == key):
            rows.append(row)
        if row == f"[{table}]":
            rows.append(line)
    return "\n".join(rows)
