"""Case files and options made to hang the reader, to fill the memory or to steer the terminal."""

from __future__ import annotations

from pathlib import Path

import pytest

from lapheat.case import units
from lapheat.case.file import CaseError, read_case_text
from lapheat.case.units import LENGTH, UnitError, read_quantity
from lapheat.study.calibration.measured import read_measured
from lapheat.study.calibration.unknowns import unknowns_of
from lapheat.study.runs.axes import given_axes
from support.case_texts import BASE, PROBE

TOWERS = (
    *("mm^9^9^9", "mm**9**9**9", "mm^9*9^9^9", "(mm^9)^9", "mm^(9)^9", "mm*9²²²²²²²²²²"),
    *("mm^9²²²²²²²²²²", "m²²²²²²²²²", "sq square cubic m^9", "m * cubed cubed^9", "m-9²²²²²²"),
)


@pytest.fixture
def guarded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let pint's parser see no unit with more than one power after a name."""
    registry = units._registry()
    parse = registry.parse_units

    def seen(text: str) -> object:
        assert not any(tower in text for tower in TOWERS), text
        return parse(text)

    monkeypatch.setattr(registry, "parse_units", seen)


@pytest.mark.usefixtures("guarded")
@pytest.mark.parametrize("tower", TOWERS)
def test_a_tower_of_powers_never_reaches_the_parser_of_units(tower: str) -> None:
    with pytest.raises(UnitError, match="is not a unit"):
        read_quantity(f"12 {tower}", LENGTH)


@pytest.mark.usefixtures("guarded")
def test_towers_are_refused_wherever_a_unit_is_read(tmp_path: Path) -> None:
    case = read_case_text(BASE + PROBE, "case.toml")
    tower = TOWERS[0]
    with pytest.raises(CaseError, match=r"--set: 1 fault\n  tube\.wall"):
        read_case_text(BASE, "case.toml", (f"tube.wall=1 {tower}",))
    with pytest.raises(CaseError, match="--vary"):
        given_axes([f"tube.wall=1 {tower}:2 mm:3", "travel.pause=1 s:2 s:3"], case)
    with pytest.raises(CaseError, match="--bounds"):
        unknowns_of(case, "spot", [f"arc.spot=1 {tower}:2 mm"])
    file = tmp_path / "bead.csv"
    file.write_text(f"time [{tower}],near_C\n1,2\n", "utf-8")
    with pytest.raises(CaseError, match="is not a unit"):
        read_measured(file, ["near"])
