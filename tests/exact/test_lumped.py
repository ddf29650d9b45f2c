"""The march against a sheet cooling as one temperature, by radiation and by both."""

from __future__ import annotations

import numpy as np
import pytest

from exact.build import MM, Array, Part, Rig, fixed
from exact.errors import Record
from exact.solutions import lumped, tables

ENDS = np.array([800.0, 500.0, 300.0, 150.0]) + 273.15
SOURCE = "Incropera 5.3, by quadrature"


def times_to(ends: Array, dt: float, thickness: float, emissivity: float, film: float) -> Array:
    """Times [s] at which a sheet from 1100 degC passes `ends` [K] in steps of `dt` [s].

    So conductive that hardly a gradient is left, as the exact answer has it.
    """
    part = Part.swept(([0.0, 1.0], [0.0, 0.5 * thickness, thickness]))
    problem = part.problem(
        fixed(k=5e3, rho=7800.0, c=620.0),
        start=1373.15,
        air=293.15,
        film={"bottom": film, "top": film},
        emissivity={"bottom": emissivity, "top": emissivity},
    )
    rig = Rig(problem)
    time, temperature = [0.0], [1373.15]
    while len(time) < 2 or temperature[-2] > ends[-1]:
        rig.go(rig.now + dt, dt)
        time.append(rig.now)
        temperature.append(float(rig.state.temperature(0)[0]))
    found = []
    for end in ends:
        # inverse interpolation through four points: straight lines would spoil the order
        i = max(2, int(np.argmax(np.array(temperature) <= end)))
        near = slice(i - 2, i + 2)
        found.append(np.polynomial.Polynomial.fit(temperature[near], time[near], 3)(end))
    return np.array(found)


@pytest.mark.parametrize("line", tables.rows(tables.LUMPED))
def test_sheet_cooling(line: list[str], record: Record) -> None:
    """Times to 800, 500, 300 and 150 degC within 0.2 %."""
    thickness, emissivity, film = (float(word) for word in line[:3])
    sheet = {"thickness": thickness * MM, "rho": 7800.0, "c": 620.0, "ambient": 293.15}
    exact = np.array(
        [lumped.cooling_time(1373.15, end, h=film, emissivity=emissivity, **sheet) for end in ENDS]
    )
    found = times_to(ENDS, 0.5, thickness * MM, emissivity, film)
    worst = 100.0 * np.abs(found / exact - 1.0).max()
    record("sheet cooling as one temperature", SOURCE, worst, 0.05, "% of time")


def test_radiation_alone(record: Record) -> None:
    """The closed form for radiation alone (Incropera, equation 5.18), and the order in time."""
    sheet = {"thickness": MM, "rho": 7800.0, "c": 620.0, "emissivity": 0.3, "ambient": 293.15}
    exact = np.array([lumped.radiation_cooling_time(1373.15, end, **sheet) for end in ENDS])
    error = [np.abs(times_to(ENDS, dt, MM, 0.3, 0.0) - exact).max() for dt in (4.0, 2.0, 1.0)]
    record("sheet cooling by radiation alone, steps of 1 s", "Incropera 5.3", error[2], 0.02, "s")
    record.order("sheet cooling by radiation alone: time", "Incropera 5.3", error, within=0.3)
