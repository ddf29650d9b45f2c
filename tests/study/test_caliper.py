"""Widths of beads: known values found again within their intervals, by parabolas and true runs."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from lapheat import read_case
from lapheat.cli.app import app
from lapheat.study.calibration.caliper.fit import advised, fit_beads
from lapheat.study.calibration.caliper.tracks import Track
from study.beads import TRUTH
from study.scrap import EDGES, READING, SET, SOURCE, Emulated, emulated, measured, runs_of, truth
from study.stand_in import now

HEADER = (
    "current_A,speed [mm/s],melt_outside_width [mm],melt_bore_width [mm],"
    "tint_outside_width [mm],crayon_bore_width [mm] at 343 degC"
)


@pytest.fixture(scope="module")
def near() -> Emulated:
    return emulated()


@pytest.fixture(scope="module")
def true() -> list[Track]:
    return truth(runs_of())


# With all errors drawn these were 97 and 96, with those of reading alone 99 and 99.
@pytest.mark.slow
@pytest.mark.parametrize(("strayed", "most"), [(False, 100), (True, 99)])
def test_intervals_hold_the_truth_in_90_of_100_seeds(
    strayed: bool, most: int, near: Emulated, true: list[Track]
) -> None:
    """The stated errors are those of reading, of mesh and of what an edge marks."""
    held = np.zeros(2, dtype=int)
    for seed in range(100):
        found = now(fit_beads(near, measured(true, seed, strayed=strayed), READING))
        held += [f.low <= t <= f.high for f, t in zip(found.fitted, TRUTH, strict=True)]
    assert (held >= 90).all(), held
    assert (held <= most).all(), held  # with all errors drawn, not so wide that they hold anything


@pytest.mark.slow
@pytest.mark.parametrize("seed", [0, 1])
def test_true_runs_hold_it_too(seed: int, true: list[Track]) -> None:
    found = now(fit_beads(runs_of(), measured(true, seed), READING))
    assert found.misfit == ()
    for item, value in zip(found.fitted, TRUTH, strict=True):
        assert item.low <= value <= item.high, item
        assert item.high - item.low < 0.3 * value


@pytest.mark.slow
def test_the_bead_to_run_next_narrows_what_it_says(true: list[Track]) -> None:
    """Beads at the next settings, added to the others, narrow the interval as foretold."""
    runs, given = runs_of(), measured(true, 0)
    found = now(advised(runs, now(fit_beads(runs, given, READING))))
    bead = found.next
    assert bead is not None
    assert (np.array(bead.then) < np.array(bead.now)).all()
    more = runs_of((*SET, (bead.current, bead.speed)))
    again = now(fit_beads(more, measured(truth(more), 0, beads=more.beads), READING))
    for item, then, value in zip(again.fitted, bead.then, TRUTH, strict=True):
        half = 0.5 * (item.high - item.low)
        assert half == pytest.approx(then, rel=0.35), item
        assert item.low <= value <= item.high


@pytest.fixture(scope="module")
def folder(true: list[Track], tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("caliper")
    (folder / "scrap.toml").write_text(SOURCE.text)
    given = measured(true, 2)
    rows = [
        ",".join([f"{amps:g}", f"{1e3 * speed:g}", *(f"{1e3 * w:.2f}" for w in widths)])
        for amps, speed, widths in zip(given.current, given.speed, given.widths, strict=True)
    ]
    (folder / "beads.csv").write_text("\n".join([HEADER, *rows]) + "\n")
    return folder


def run(folder: Path, table: str, *more: str) -> tuple[int, str]:
    args = ["calibrate", str(folder / "scrap.toml"), str(folder / table), "--workers", "1"]
    done = CliRunner().invoke(app, [*args, "--out", str(folder / f"{table}.out"), *more])
    return done.exit_code, " ".join(done.output.split())


@pytest.mark.slow
def test_the_command_fits_beads_and_says_which_to_run_next(folder: Path) -> None:
    code, said = run(folder, "beads.csv")
    assert code == 0, said
    assert "Next bead" in said
    assert "A at" in said
    out = folder / "beads.csv.out"
    told = json.loads((out / "calibration.json").read_text())
    assert told["fits"] is True
    assert told["rms_m"] < told["before_rms_m"]
    for name, value in zip(("efficiency", "spot"), TRUTH, strict=True):
        assert told["fitted"][name]["low"] <= value <= told["fitted"][name]["high"]
    case = read_case(out / "case.toml")
    assert case.arc.spot == pytest.approx(told["fitted"]["spot"]["value"], rel=1e-5)
    assert (out / "figures" / "calibration.png").stat().st_size > 10_000
    lines = (out / "calibration.csv").read_text().splitlines()
    assert len(lines) == 1 + len(SET) * len(EDGES)


@pytest.mark.slow
def test_widths_that_cannot_be_are_no_case(folder: Path) -> None:
    """The bore of each bead under the heading of the outside, and the other way round."""
    header = HEADER.replace("outside", "o").replace("bore", "outside").replace("_o_", "_bore_")
    rows = (folder / "beads.csv").read_text().splitlines()[1:]
    (folder / "swapped.csv").write_text("\n".join([header, *rows]) + "\n")
    code, said = run(folder, "swapped.csv")
    assert code == 1, said
    assert "It does not fit, so no case was written" in said
    assert "bore and outside swapped" in said
    assert not (folder / "swapped.csv.out" / "case.toml").exists()
    assert (
        json.loads((folder / "swapped.csv.out" / "calibration.json").read_text())["fits"] is False
    )
