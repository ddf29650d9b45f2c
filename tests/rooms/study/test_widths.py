"""Widths of beads: the file, the edges on a made-up track, and errors that readings share."""

from __future__ import annotations

from io import StringIO
from math import isnan, sqrt
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from lapheat.case.file import CaseError, read_case_text
from lapheat.cli.study.calibrate import told
from lapheat.study.calibration.caliper.edges import Level, levels_of, look
from lapheat.study.calibration.caliper.fit import Caliper, misfit_of
from lapheat.study.calibration.caliper.tracks import Track
from lapheat.study.calibration.fit import moved_by, unweighted, weighted, weighting
from lapheat.study.calibration.measured import Beads, Edge, Readings, read_measured
from lapheat.study.calibration.misfit import check_length, guesses
from lapheat.study.calibration.points import Curve, neighbours
from support.case_texts import BEAD, PROBE


def read(tmp_path: Path, text: str) -> Beads:
    path = tmp_path / "beads.csv"
    path.write_text(text)
    found = read_measured(path, ())
    assert isinstance(found, Beads)
    return found


@pytest.mark.parametrize(
    "text",
    [
        "current_A,speed [mm/s],melt_outside_width [mm],crayon_bore_width [mm] at 343 degC\n"
        "40,2,3.175,\n50,2.54,0,25.4\n",
        "current_A;speed_m/s;melt_outside_width_in;crayon_bore_width_in at 616.15 K\n"
        "40;0.002;0.125;\n50;0.00254;0;1\n",
    ],
)
def test_widths_read_in_any_unit(tmp_path: Path, text: str) -> None:
    found = read(tmp_path, text)
    np.testing.assert_allclose(found.current, [40.0, 50.0])
    np.testing.assert_allclose(found.speed, [2e-3, 2.54e-3])
    np.testing.assert_allclose(found.widths, [[3.175e-3, np.nan], [0.0, 25.4e-3]])
    melt, crayon = found.edges
    assert isnan(melt.level)
    assert (crayon.kind, crayon.side) == ("crayon", "bore")
    assert crayon.level == pytest.approx(616.15)


def test_a_tint_edge_is_at_400_degrees_unless_told(tmp_path: Path) -> None:
    heading = "current_A,tint_outside_width [mm]"
    assert read(tmp_path, f"{heading}\n40,9\n").edges[0].level == pytest.approx(673.15)
    told = read(tmp_path, f"{heading} at 380 degC\n40,9\n")
    assert told.edges[0].level == pytest.approx(653.15)
    assert isnan(told.speed[0])  # the case's own


# text, key, given, allowed
BAD = [
    ("crayon_bore_width [mm]\n40,9\n", "column 2", "crayon_bore_width", "at 343 degC"),
    ("crayon_bore_width [mm] at 343\n40,9\n", "column 2", "at 343", "with its unit"),
    ("melt_bore_width [mm] at 1400 degC\n40,9\n", "column 2", "melt", "no temperature"),
    ("melt_bore_width\n40,9\n", "column 2", "melt_bore_width", "a width such as"),
    ("melt_bore_width_A\n40,9\n", "column 2", "melt_bore_width_A", "melt_bore_width [mm]"),
    ("speed_mm/s\n40,9\n", "header", "speed", "at least one width"),
    ("melt_bore_width [mm],melt_bore_width [mm]\n40,9,9\n", "header", "melt", "each column once"),
    ("melt_bore_width [mm]\n40,-1\n", "line 2, column 2", '"-1"', "0 or more"),
    ("speed [mm/s],melt_bore_width [mm]\n40,0,1\n", "line 2, column 2", '"0"', "a speed above 0"),
    ("speed [mm/s],melt_bore_width [mm]\n40,,1\n", "line 2, column 2", '""', "a number"),
    ("melt_bore_width [mm]\n-40,1\n", "line 2, column 1", '"-40"', "a current from 1 to 1000 A"),
    ("melt_bore_width [mm]\n40,\n", "file", "no width at all", "below their headings"),
    ("speed [mm/s],melted_width [mm]\n40,2,9\n", "column 3", "melted_width", "a width such as"),
]


@pytest.mark.parametrize(("text", "key", "given", "allowed"), BAD)
def test_a_fault_is_told_where_it_stands(
    tmp_path: Path, text: str, key: str, given: str, allowed: str
) -> None:
    with pytest.raises(CaseError) as caught:
        read(tmp_path, f"current_A,{text}")
    fault = caught.value.faults[0]
    assert fault.key == key
    assert given in fault.given
    assert allowed in fault.allowed


PLACE = np.linspace(-20e-3, 20e-3, 161)
CONE = Track(PLACE, 1800.0 - 1e5 * np.abs(PLACE), 1500.0 - 1e5 * np.abs(PLACE))  # 100 K/mm


@pytest.mark.parametrize(
    ("text", "key", "hint"),
    [
        (
            "current_A,speed [mm/s],melt_outside_width,tint_bore_width\n40,2,9,9\n",
            ["column 3", "column 4"],
            ["no unit: melt_outside_width [mm]", "no unit: tint_bore_width [mm]"],
        ),
        ("speed [mm/s],melt_bore_width [mm]\n2,9\n", ["line 1, column 1"], [""]),
    ],
)
def test_a_fault_is_told_once_and_names_what_is_missing(
    tmp_path: Path, text: str, key: list[str], hint: list[str]
) -> None:
    with pytest.raises(CaseError) as caught:
        read(tmp_path, text)
    assert [fault.key for fault in caught.value.faults] == key
    assert [fault.hint for fault in caught.value.faults] == hint
    assert ("current_A first, as beads" in str(caught.value)) is (hint == [""])


def test_a_width_is_where_the_track_crosses_the_level() -> None:
    assert CONE.width("outside", 1300.0) == pytest.approx(10e-3, abs=5e-5)
    assert CONE.width("bore", 1300.0) == pytest.approx(4e-3, abs=5e-5)
    assert CONE.width("bore", 1600.0) == 0.0


def test_a_width_is_compared_as_a_temperature_over_its_fall() -> None:
    edges = (Edge("crayon_outside_width", "crayon", "outside", 1300.0),)
    seen = look([CONE], np.array([[9e-3]]), edges, [Level(1300.0, 13.0)], 293.0, 0.3e-3)
    assert seen.off == pytest.approx([50.0], abs=0.5)  # half a millimetre too wide, at one side
    # 0.15 mm at 100 K/mm, and the mesh's 0.5 % of the rise
    assert seen.error == pytest.approx([sqrt(15.0**2 + (0.005 * 1007.0) ** 2)], rel=0.01)
    assert seen.common == pytest.approx(np.array([[13.0]]))


def test_a_width_of_0_only_bounds() -> None:
    edges = (Edge("melt_bore_width", "melt", "bore", np.nan),)
    below, above = (
        look([CONE], np.array([[0.0]]), edges, [Level(level, 10.0)], 293.0, 0.3e-3)
        for level in (1600.0, 1400.0)
    )
    assert below.off == pytest.approx([0.0])
    assert above.off[0] > 80.0
    assert not above.shows.any()


def test_a_width_of_0_shares_no_error_of_its_edge() -> None:
    edges = (Edge("tint_outside_width", "tint", "outside", 1300.0),)
    widths = np.array([[9e-3], [0.0]])
    seen = look([CONE, CONE], widths, edges, [Level(1300.0, 30.0)], 293.0, 0.3e-3)
    assert seen.common.tolist() == [[30.0], [0.0]]
    assert seen.error[1] > 30.0 > seen.error[0]


def test_melting_lies_between_solidus_and_liquidus() -> None:
    case = read_case_text(BEAD, "x")
    alloy = case.alloys[case.tube.alloy]
    assert alloy.solidus is not None
    assert alloy.liquidus is not None
    (level,) = levels_of(case, [Edge("melt_bore_width", "melt", "bore", np.nan)])
    assert alloy.solidus < level.kelvin < alloy.liquidus
    # of a uniform distribution: its width over the root of 12
    assert level.error == pytest.approx((alloy.liquidus - alloy.solidus) / sqrt(12.0))


def test_weighted_residuals_are_those_of_generalised_least_squares() -> None:
    rng = np.random.default_rng(0)
    columns, r, j = rng.normal(size=(9, 2)), rng.normal(size=9), rng.normal(size=(9, 3))
    weights, cover = weighting(columns), np.eye(9) + columns @ columns.T
    assert float(weighted(r, weights) @ weighted(r, weights)) == pytest.approx(
        float(r @ np.linalg.solve(cover, r))
    )
    np.testing.assert_allclose(unweighted(weighted(j, weights), weights), j)


def test_an_error_in_common_moves_a_fit_by_what_it_is_worth() -> None:
    """A mean of n readings, all off by the same 2 K, is off by 2 K."""
    assert moved_by(np.ones((50, 1)), np.full((50, 1), 2.0)) == pytest.approx([2.0])


def test_neighbours_are_half_a_millimetre_off_round_the_tube_too() -> None:
    case = read_case_text(BEAD + PROBE, "x")
    (probe,) = case.probes
    up, down, on, back = neighbours(probe, case.tube.radius)
    assert (up.height - probe.height, down.height - probe.height) == pytest.approx((5e-4, -5e-4))
    arc = case.tube.radius * np.array([on.angle - probe.angle, back.angle - probe.angle])
    assert arc == pytest.approx([5e-4, -5e-4])


TIME = np.arange(0.0, 30.0, 0.5)


def heated(*sizes: float) -> np.ndarray:
    rise = TIME / 4.0 * np.exp(1.0 - TIME / 4.0)
    slow = TIME / 9.0 * np.exp(1.0 - TIME / 9.0)
    return 293.15 + np.stack([sizes[0] * rise, sizes[1] * slow], axis=1)


def test_the_likeliest_mistake_is_guessed_first() -> None:
    curve = Curve(TIME, heated(400.0, 150.0))
    true = Readings(("a", "b"), TIME, heated(360.0, 140.0))
    fahrenheit = Readings(("a", "b"), TIME, 1.8 * (true.values - 273.15) + 32.0 + 273.15)
    swapped = Readings(("a", "b"), TIME, true.values[:, ::-1])
    assert guesses(curve, true, 293.15) == []
    assert "degF under a heading of degC" in guesses(curve, fahrenheit, 293.15)[0].words
    assert '"a" and "b" are swapped' in guesses(curve, swapped, 293.15)[0].words


def test_a_record_may_last_ten_cases_and_an_hour() -> None:
    case = read_case_text(BEAD + PROBE, "x")
    values = np.full((2, 1), 300.0)
    check_length(case, Readings(("toe",), np.array([0.0, 3600.0]), values))
    with pytest.raises(CaseError, match="milliseconds under a heading of seconds"):
        check_length(case, Readings(("toe",), np.array([0.0, 90000.0]), values))


@pytest.mark.parametrize(("chance", "fits"), [(0.0082, False), (0.02, True)])
def test_a_fit_of_too_small_a_chance_is_none_and_the_chance_is_told(
    chance: float, fits: bool
) -> None:
    """Computed 2 mm wide at 1000 K beside a measured 0.5 mm: 1.5 mm too wide in the mean."""
    place = 1e-3 * np.linspace(-6.0, 6.0, 25)
    track = Track(place, 1100.0 - 1e8 * place**2, 1100.0 - 1e8 * place**2)
    edge = Edge("tint_outside_width", "tint", "outside", 1000.0)
    one = np.array([1.0])
    beads = Beads(40.0 * one, 2e-3 * one, (edge,), np.array([[0.5e-3]]), "mm/s", "mm")
    found = Caliper(
        case=read_case_text(BEAD, "bead.toml"),
        fitted=(),
        beads=beads,
        levels=(Level(1000.0, 0.0),),
        before=(track,),
        after=(track,),
        reading=3e-4,
        before_rms=1.5e-3,
        rms=1.5e-3,
        chance=chance,
        sigma=1.0,
        detail="coarse",
        blind=(),
    )
    assert (misfit_of(found) == ()) is fits
    file = StringIO()
    Console(file=file, width=4000).print(told(found))
    assert "Computed less measured is +1.50 mm in the mean" in file.getvalue()
    assert f"is {100.0 * chance:.1f} %" in file.getvalue()
