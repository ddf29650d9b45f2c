"""Small joints for tests that look at one step or one part of a march."""

from __future__ import annotations

from lapheat.case.file import read_case_text

CASE = """
[tube]
outside_diameter = "{od} mm"
wall = "1 mm"
length = "20 mm"
[flange]
thickness = "3 mm"
outside_diameter = "{plate} mm"
[arc]
current = "60 A"
voltage = "10 V"
spot = "2 mm"
[travel]
speed = "3 mm/s"
segment = "{segment} mm"
pause = "1 s"
[numerics]
detail = "coarse"
"""


def case_of(*sets: str, od: float = 20.0, plate: float = 50.0, segment: float = 8.0):
    text = CASE.format(od=od, plate=plate, segment=segment)
    return read_case_text(text, "joint", sets)
