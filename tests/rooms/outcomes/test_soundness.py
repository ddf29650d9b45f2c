"""Soundness: what is read off a run, against runs whose answer is known by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lapheat.case.alloys import builtin
from lapheat.history.records import Exposure, History
from lapheat.outcomes.soundness import cooling_estimate, soundness_of
from support.runs import run_with

ZERO = 273.15
LAYERS = 2


def exposed(history: History, **changed: object) -> History:
    """Give a run exposures of a few faces, with known largest values."""
    bore = history.surfaces["tube bore"].peak.shape[0]
    used = np.zeros((3, bore, LAYERS))
    used[:, 4, 1] = 0.02, 0.05, 3.0
    used[:, 5, 0] = 0.01, 0.06, 1.0
    found = Exposure(
        sensitised={"tube outside": used[:, :3] * 0.5, "tube bore": used},
        copper={"tube": np.array([[1.0, 2.5]]), "flange": np.array([[4.0, 0.0]])},
        above_a1=np.array([[7.0, 8.5]]),
        cooling=np.array([[np.nan, 2.0], [3.0, 6.0]]),
    )
    return replace(history, exposure=replace(found, **changed))  # type: ignore[arg-type]


def of_steels(**alloys: str) -> History:
    """Give a run built-in alloys for its made-up ones."""
    case = run_with().case
    steels = {name: builtin(name) for name in case.alloys}
    return run_with(case={"alloys": steels, **alloys})


def test_the_largest_of_all_faces_is_told_and_where() -> None:
    history = exposed(of_steels())
    sound = soundness_of(history)
    assert sound.sensitised_fraction == 0.02
    assert sound.sensitised_fraction_cold_worked == 0.06
    assert sound.sensitised_fraction_as_304 == 3.0
    assert sound.sensitised_surface == "tube bore"
    assert sound.sensitised_height_m == history.surfaces["tube bore"].position[4]
    assert (sound.tube_liquid_copper_s, sound.flange_liquid_copper_s) == (2.5, 4.0)
    assert sound.liquid_copper_s == 4.0
    assert (sound.flange_t85_s, sound.flange_t85_shortest_s) == (3.0, 2.0)
    assert sound.flange_above_a1_s == 8.5
    assert sound.notes == (
        "304L carbon, 0.03 %: EN 10088-1, 1.4307, and ASTM A240, upper limit (from memory)",
    )


def test_what_is_not_known_is_null_with_its_reason() -> None:
    """Alloys of the user's own, without carbon, A1 and A3."""
    history = exposed(run_with(), sensitised={"tube bore": np.zeros((0, 9, LAYERS))})
    sound = soundness_of(replace(history, exposure=replace(
        history.exposure, cooling=np.full((2, 2), np.nan))))  # fmt: skip
    assert sound.sensitised_fraction is sound.sensitised_surface is None
    assert sound.flange_t85_s is sound.flange_t85_en_s is sound.flange_above_a1_s is None
    assert sound.liquid_copper_s == 4.0
    assert sound.notes == (
        "sensitisation: 304L has no carbon of an austenitic stainless steel",
        "cooling of the flange: low-carbon steel has no A1 and no A3",
    )


def test_a_flange_that_stayed_cool_has_no_cooling() -> None:
    cool = exposed(of_steels(), cooling=np.full((2, 2), np.nan))
    assert soundness_of(cool).notes[1:] == (
        "cooling of the flange: none of its surface passed A3 and fell from 800 to 500 degC",
    )


@pytest.mark.parametrize(
    ("filler", "tube", "times", "note"),
    [
        ("aluminium", "304L", (None, None), "aluminium is not known to be copper-based"),
        ("CuSi3Mn1", "copper", (None, 4.0), "liquid copper on the tube: its alloy is not known"),
    ],
)
def test_liquid_copper_is_that_of_copper_on_steel(
    filler: str, tube: str, times: tuple[float | None, float | None], note: str
) -> None:
    history = exposed(of_steels())
    case = history.case
    assert case.fillet is not None
    case = replace(
        case,
        tube=replace(case.tube, alloy=tube),
        fillet=replace(case.fillet, filler=filler),
        alloys={**case.alloys, tube: builtin(tube), filler: builtin(filler)},
    )
    sound = soundness_of(replace(history, case=case))
    assert (sound.tube_liquid_copper_s, sound.flange_liquid_copper_s) == times
    assert sound.liquid_copper_s == times[1]
    assert any(note in told for told in sound.notes)


# --- heat tint ------------------------------------------------------------------------------------


def tinted(bead: bool, slope: float, top: float) -> History:
    """Give a run whose tube is `top` [degC] at height 0 and falls by `slope` [K/mm] either way."""
    history = run_with(bead=bead)
    surfaces = dict(history.surfaces)
    for name in ("tube outside", "tube bore"):
        surface = surfaces[name]
        line = top + ZERO - slope * np.abs(surface.position) * 1e3
        peak = np.repeat(line[:, None], surface.peak.shape[1], axis=1)
        peak[:, 1:] -= 100.0  # one layer is the hottest
        surfaces[name] = replace(surface, peak=peak)
    return replace(history, surfaces=surfaces)


def test_heat_tint_reaches_where_the_peak_was_400_degc() -> None:
    """1000 degC at the flange face and 50 K/mm: 12 mm up, less the leg of 3.3 mm outside."""
    sound = soundness_of(tinted(False, 50.0, 1000.0))
    assert sound.tint_width_m == pytest.approx(12e-3 - 3.3e-3, abs=1e-5)
    assert sound.bore_tint_m == pytest.approx(12e-3 + 6.35e-3, abs=1e-5)  # and all of the flange


def test_heat_tint_of_a_bead_counts_from_the_arc_line() -> None:
    sound = soundness_of(tinted(True, 100.0, 1000.0))
    assert sound.tint_width_m == pytest.approx(6e-3, abs=2e-5)
    assert sound.bore_tint_m == pytest.approx(12e-3, abs=0.1e-3)  # straight lines cut the top off
    assert np.isnan(sound.lap_filled)
    assert sound.liquid_copper_s is None


def test_a_tube_that_stayed_cool_has_no_tint_and_a_hot_one_to_its_end() -> None:
    cool, hot = (soundness_of(tinted(False, 0.0, top)) for top in (390.0, 501.0))
    assert (cool.tint_width_m, cool.bore_tint_m) == (0.0, 0.0)
    assert hot.tint_width_m == pytest.approx(114.3e-3 - 3.3e-3)


# --- the standard's cooling time ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("heat", "thickness", "start", "seconds"),
    [
        (0.36, 6.0, 20.0, 2.864),  # thin: computed from the formula in the source, F2 = 0.7
        (1.0, 10.0, 100.0, 16.290 * 0.7),
        (1.0, 50.0, 20.0, 5.288 * 0.67),  # thick, F3 = 0.67
    ],
)
def test_cooling_time_of_the_standard(
    heat: float, thickness: float, start: float, seconds: float
) -> None:
    """EN 1011-2 annex D, as tests/published/sources/EN1011-2.toml has it, to its last digit."""
    found = cooling_estimate(heat * 1e6, thickness * 1e-3, start + ZERO)
    assert found == pytest.approx(seconds, abs=1e-3)
    assert np.isnan(cooling_estimate(1e6, 0.01, 500.0 + ZERO))
    source = Path(__file__).parents[2] / "published" / "sources" / "EN1011-2.toml"
    assert "2.864" in source.read_text(encoding="utf-8")


def test_the_estimate_takes_the_heat_of_the_run_over_what_it_laid() -> None:
    history = exposed(of_steels())
    laid = 2.0 * np.pi * history.case.tube.radius
    heat = (history.ledger.arc + history.ledger.filler) / laid
    start = min(run.start_temperature for run in history.segments)
    assert soundness_of(history).flange_t85_en_s == cooling_estimate(heat, 6.35e-3, start)
