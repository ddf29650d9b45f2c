"""Outcomes: every key of `outcomes.json` under its name, in its unit, null where there is none."""

from __future__ import annotations

import json
from dataclasses import replace
from importlib.metadata import version
from typing import Any

import numpy as np
import pytest

from lapheat.case.alloys import builtin
from lapheat.history.records import History, Ledger
from lapheat.joint.section import Region
from lapheat.outcomes.from_history import outcomes_of
from lapheat.version import __version__
from support.outcome_keys import KEYS
from support.runs import run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS


def told(history: History) -> dict[str, Any]:
    return outcomes_of(history).as_dict()


def numbers_in(node: Any) -> list[float]:
    if isinstance(node, dict):
        return [x for item in node.values() for x in numbers_in(item)]
    if isinstance(node, list):
        return [x for item in node for x in numbers_in(item)]
    return [node] if isinstance(node, float) else []


def test_keys_are_those_of_the_contract_in_its_order() -> None:
    found = told(run_with())
    assert list(found) == list(KEYS)
    for table, keys in KEYS.items():
        entry = found[table][0] if table == "segments" else found[table]
        assert list(entry) == [key.removeprefix("+") for key in keys], table
    assert all(list(probe) == ["peak_C", "peak_s"] for probe in found["probes"].values())


def test_a_bead_leaves_flange_filler_and_lap_out() -> None:
    found = told(run_with(bead=True))
    none = ("flange", "filler", "strength")
    assert list(found) == [key for key in KEYS if key not in none]
    assert found["soundness"]["lap_filled"] is found["soundness"]["hot_clearance_m"] is None
    for run in found["segments"]:
        assert list(run) == [key.removeprefix("+") for key in KEYS["segments"]]
        assert run["flange_peak_C"] is run["tube_side_wet"] is run["flange_side_wet"] is None


def test_temperatures_are_in_degc_and_margins_in_kelvin() -> None:
    found = told(run_with(tube=STAINLESS_SOLIDUS - 75.0, flange=1573.15, melted=0.25))
    tube, flange = found["tube"], found["flange"]
    assert (tube["peak_C"], tube["solidus_C"], tube["margin_K"]) == (1325.0, 1400.0, 75.0)
    assert tube["melted_wall_fraction"] == 0.25
    assert tube["peak_surface"] == "tube outside"
    assert (flange["peak_C"], flange["solidus_C"], flange["margin_K"]) == (1300.0, 1490.0, 190.0)
    assert flange["peak_surface"] == "flange face"
    assert found["filler"]["flow_C"] == 1025.0


def test_hottest_spot_may_be_in_the_bore() -> None:
    history = run_with(tube=1400.0)
    bore = history.surfaces["tube bore"]
    peak = np.full_like(bore.peak, 300.0)
    peak[3, 7] = 1500.0
    surfaces = {**history.surfaces, "tube bore": replace(bore, peak=peak)}
    tube = told(replace(history, surfaces=surfaces))["tube"]
    assert tube["peak_surface"] == "tube bore"
    assert tube["peak_C"] == tube["bore_peak_C"] == pytest.approx(1226.85)
    assert tube["peak_position_m"] == pytest.approx(bore.position[3])
    assert tube["peak_angle_deg"] == pytest.approx(np.degrees(bore.angle[7]))


def test_filler_shares_and_dry_angles() -> None:
    filler = told(run_with(flange_dry=((45.0, 90.0, FLOW - 50.0),)))["filler"]
    assert filler["tube_side_wet"] == 1.0
    assert filler["flange_side_wet"] == 0.875
    assert filler["tube_side_dry_deg"] == []
    # the line to the neighbouring segments crosses flow within a spot of the ends
    assert filler["flange_side_dry_deg"] == [
        [pytest.approx(45.0, abs=0.6), pytest.approx(90.0, abs=0.6)]
    ]
    assert filler["longest_dry_m"] == pytest.approx(np.pi / 4.0 * 19.05e-3, abs=0.4e-3)


def test_surpluses_are_above_the_liquidus_and_tell_where_it_is_coldest() -> None:
    """45 of 360 deg lie 50 K below flow, so 95 % of the flange side has not got there."""
    filler = told(run_with(flange_dry=((45.0, 90.0, FLOW - 50.0),)))["filler"]
    assert filler["wets_at_C"] == 1035.0
    assert filler["tube_side_surplus_K"] == pytest.approx(80.0)
    assert filler["flange_side_surplus_K"] == pytest.approx(-50.0)
    assert filler["stretch_surplus_K"] == pytest.approx(-50.0, abs=1.0)
    assert filler["coldest_C"] == pytest.approx(975.0)
    assert (filler["coldest_side"], filler["coldest_segment"]) == ("flange", 2)
    assert 45.0 < filler["coldest_angle_deg"] < 90.0
    assert filler["shortest_liquid_s"] == filler["median_liquid_s"] == pytest.approx(2.0)


def test_a_short_dry_stretch_does_not_count_in_the_stretch_surplus() -> None:
    """3 mm of the tube's 119.7 mm: all but it has 80 K."""
    short = told(run_with(flange_dry=((30.0, 36.0, FLOW - 50.0),)))["filler"]
    assert short["longest_dry_m"] < 3e-3
    assert 10.0 < short["stretch_surplus_K"] <= 80.0
    assert short["coldest_C"] == pytest.approx(975.0)


def test_rod_is_what_was_laid() -> None:
    run = replace(run_with(), rod=2e-3)
    found = told(run)["supplies"]
    assert found["filler_kg"] == 2e-3
    assert found["rod_m"] == pytest.approx(2e-3 / 8530.0 / (0.25 * np.pi * 1.6e-3**2), rel=1e-9)
    assert found["fed_by_hand"] is True


def test_filler_peak_is_that_of_the_fillet_alone() -> None:
    history = run_with()
    fillet = history.problem.mesh.section.region == Region.FILLET
    cells = np.full_like(history.cell_peak, 2500.0)
    cells[fillet] = 1400.0
    cells[np.flatnonzero(fillet)[0], 5] = 1473.15
    assert told(replace(history, cell_peak=cells))["filler"]["peak_C"] == 1200.0


def test_segments_in_the_order_they_were_run() -> None:
    history = run_with()
    runs = (history.segments[4], *history.segments[:4])
    found = told(replace(history, segments=runs))["segments"]
    assert [run["number"] for run in found] == [5, 1, 2, 3, 4]
    first = history.segments[0]
    assert found[1]["to_deg"] == pytest.approx(45.0)
    assert found[1]["start_C"] == pytest.approx(first.start_temperature - 273.15)
    assert found[1]["end_s"] == pytest.approx(first.end)


def test_heat_ledger_and_electrical_energy() -> None:
    history = replace(run_with(), ledger=Ledger(1000.0, 50.0, 200.0, 849.0))
    heat = told(history)["heat"]
    assert (heat["arc_J"], heat["filler_J"], heat["lost_J"]) == (1000.0, 50.0, 200.0)
    assert heat["imbalance"] == 0.001
    trace = history.trace
    on = np.diff(trace.time)[trace.current[1:] > 0.0].sum()
    assert heat["electrical_J"] == pytest.approx(70.0 * 12.8 * on)


def test_electrical_energy_takes_each_step_at_its_own_current() -> None:
    history = run_with()
    trace = replace(
        history.trace,
        time=np.array([0.0, 1.0, 3.0]),
        current=np.array([0.0, 10.0, 20.0]),
        segment=np.array([0, 1, 1]),
    )
    heat = told(replace(history, trace=replace(trace, probes=np.zeros((3, 3)))))["heat"]
    # by convention 10.4 V at 10 A and 10.8 V at 20 A
    assert heat["electrical_J"] == pytest.approx(10.4 * 10.0 * 1.0 + 10.8 * 20.0 * 2.0)


def test_a_reading_that_is_no_number_is_null() -> None:
    history = run_with()
    readings = history.trace.probes.copy()
    readings[:, 0] = np.nan
    found = told(replace(history, trace=replace(history.trace, probes=readings)))
    assert found["probes"]["T1"]["peak_C"] is None


def test_probes_tell_peak_and_when() -> None:
    history = run_with()
    readings = history.trace.probes.copy()
    readings[41, 1] = 900.0 + 273.15
    found = told(replace(history, trace=replace(history.trace, probes=readings)))["probes"]
    assert found["T2"] == {
        "peak_C": pytest.approx(900.0),
        "peak_s": pytest.approx(float(history.trace.time[41])),
    }


def test_an_alloy_without_solidus_has_null_there() -> None:
    case = run_with().case
    assert case is not None
    steel = case.alloys["low-carbon steel"]
    never = replace(steel, solidus=None, liquidus=None, latent_heat=None)
    found = told(run_with(case={"alloys": {**case.alloys, "low-carbon steel": never}}))
    assert found["flange"]["solidus_C"] is found["flange"]["margin_K"] is None
    assert found["verdict"]["base_stays_solid"]


def test_what_was_held_outside_its_range_is_told() -> None:
    case = run_with().case
    assert case is not None
    alloys = {name: builtin(name) for name in case.alloys}
    cool, hot = (
        told(run_with(flange=flange, case={"alloys": alloys}))["alloys"]["held"]
        for flange in (1300.0, 1560.0)
    )
    note = (
        "low-carbon steel conductivity, specific heat and expansion are published from 20 to "
        "1200 degC and held beyond"
    )
    assert note in hot
    assert not [sentence for sentence in cool if sentence.startswith("low-carbon steel")]


@pytest.mark.parametrize("bead", [False, True])
def test_json_has_no_nan_and_at_most_ten_digits(bead: bool) -> None:
    found = told(run_with(bead=bead))
    text = json.dumps(found, allow_nan=False)
    assert json.loads(text) == found
    for number in numbers_in(found):
        assert number == float(f"{number:.10g}")


def test_mesh_march_and_versions() -> None:
    history = replace(run_with(), steps=77, wall_s=1.5)
    found = told(history)
    assert found["mesh"]["cells"] == history.problem.mesh.cells
    assert found["march"] == {"steps": 77, "name": "synthetic", "wall_s": 1.5}
    assert found["versions"]["lapheat"] == __version__
    assert found["versions"]["numba"] == version("numba")
