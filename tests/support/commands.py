"""A case for the command line, and what calling it gives."""

from __future__ import annotations

from collections.abc import Callable

CASE = """
title = "A stub"
[tube]
outside_diameter = "1.5 in"
wall = "0.065 in"
[flange]
thickness = "1/4 in"
outside_diameter = "4 in"
[arc]
current = "90 A"
voltage = "11 V"
[travel]
speed = "2 mm/s"
segment = "5/8 in"
pause = "20 s"
[numerics]
detail = "coarse"
"""

Call = Callable[..., tuple[int, str, str]]
