"""A problem made of a case: chilled walls, and tacks that are there from the start."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from invariance.small import SMALL, text_of
from lapheat.case.file import read_case_text
from lapheat.march.state import State
from lapheat.problem.problem import CHILL
from lapheat.problem.setup import problem_of

CHILL_KEYS = {
    "chill_length": "10 mm",
    "chill_wall": "3 mm",
    "chill_conductance": "2000 W/(m^2 K)",
}

TACKS = ({"angle": "45 deg", "length": "3 mm"}, {"angle": "225 deg", "length": "3 mm"})


def text(*tacks: dict[str, str], fixture: dict[str, str] | None = None, **changes: object) -> str:
    case = text_of(SMALL, **changes)
    if fixture:
        case += "\n[fixture]\n" + "\n".join(f'{key} = "{value}"' for key, value in fixture.items())
    for tack in tacks:
        case += "\n[[tack]]\n" + "\n".join(f'{key} = "{value}"' for key, value in tack.items())
    return case


def test_a_tack_is_there_from_the_start() -> None:
    problem = problem_of(read_case_text(text(*TACKS), "held"))
    state = State(problem)
    share = problem.in_place.mean()
    assert share == pytest.approx(6.0 / (12.0 * pi), abs=1.0 / problem.mesh.layers)
    assert np.array_equal(state.alive.all(axis=0), problem.in_place)
    assert np.array_equal(state.filled.any(axis=0), problem.in_place)
    # one tube wall, 1 mm, of a lap 3 mm deep is bridged
    deep = problem.mesh.links.area[problem.lap.links] @ state.filled[:, problem.in_place]
    deep = deep[0] / problem.mesh.links.area[problem.lap.links].sum() * 3.0
    assert 0.5 < deep < 1.5
    bare = state.contact[0, ~problem.in_place]
    assert (state.contact[0, problem.in_place] < 0.05 * bare.min()).all()
    assert state.stored() == 0.0


def test_walls_under_a_chill_give_to_it() -> None:
    problem = problem_of(read_case_text(text(fixture=CHILL_KEYS), "held"))
    assert (problem.sink == CHILL).sum() > 2
    assert (problem_of(read_case_text(text(), "held")).sink == 0).all()


def test_a_tube_that_radiates_nothing_leaves_the_lap_its_gas() -> None:
    mirror = """
    [alloys.mirror]
    density = "7900 kg/m^3"
    conductivity = "20 W/(m K)"
    specific_heat = "550 J/(kg K)"
    emissivity = 0
    """
    problem = problem_of(read_case_text(text() + mirror, "held", ("tube.alloy=mirror",)))
    assert problem.lap is not None
    assert problem.lap.emissivity == 0.0
    assert problem_of(read_case_text(text(), "held")).lap.emissivity > 0.0
