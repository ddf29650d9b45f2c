"""Case files and options made to hang the reader, to fill the memory or to steer the terminal."""

from __future__ import annotations

import tomllib
from pathlib import Path
from time import process_time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lapheat.case import units
from lapheat.case.file import CaseError, read_case_text
from lapheat.case.file.depth import too_deep
from lapheat.case.units import LENGTH, UnitError, read_quantity
from lapheat.study.calibration.measured import read_measured
from lapheat.study.calibration.unknowns import unknowns_of
from lapheat.study.runs.axes import given_axes
from support.case_texts import ALLOY, BASE, PROBE

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


DEEP = {
    "brackets": "a = " + "[" * 400 + "]" * 400,
    "braces": "a = " + "{ b = " * 400 + "1" + " }" * 400,
    "parts of a key": "a." * 20_000 + "b = 1",
    "parts of a heading": "[" + "a." * 100_000 + "b]",
    "parts with blanks": "a . " * 20_000 + "b = 1",
    "quoted parts": '"a".' * 20_000 + "b = 1",
    "parts in a bracket": "x = { " + "a." * 20_000 + "b = 1 }",
    "after strings": 'x = "[]{}" # [[[[[[[[[\ny = """\n[[[[["""\na = ' + "[" * 9,
    "an open string again and again": '\\"""\n' * 100_000,
    "half a million brackets": "[]" * 500_000,
}


@pytest.mark.parametrize("what", DEEP)
def test_a_deep_text_is_refused_at_once(what: str) -> None:
    start = process_time()
    with pytest.raises(CaseError) as caught:
        read_case_text(DEEP[what], "deep.toml")
    (fault,) = caught.value.faults
    assert fault.key.startswith("line ")
    assert process_time() - start < 5.0  # parsed, the least of the keys took 46 s
    assert len(str(fault)) < 1500


def test_strings_and_comments_are_not_taken_for_brackets_or_keys() -> None:
    """As the parser sees it: three quotes, up to two more before the end, and escapes."""
    lines = (
        r'a = """"[[[[[[[[[ \" [[""\"""""',
        r'b = "\"[[[[[[[[[\\"  # "[[[[[[[[[',
        "c = '[[[[[[[[[\"'",
        "d = '''[[[[[[[[[''''",
        "e.f.g = [1.5, [2.5]]",
    )
    held = "\n".join(lines) + "\n"
    assert len(tomllib.loads(held)) == 5
    assert too_deep(held) is None
    assert too_deep(held + "h = " + "[" * 9) == (6, "over 8 open brackets")
    assert too_deep(BASE + PROBE + ALLOY) is None


QUOTE = st.sampled_from(('"""', "'''", '"', "'"))
INSIDE = st.lists(st.sampled_from((*"\"'\\[#a\n", "\\\\", '\\"')), max_size=7).map("".join)


@given(QUOTE, INSIDE, QUOTE, st.sampled_from(("", " # [[")))
def test_the_scan_of_brackets_agrees_with_the_parser(
    start: str, inside: str, end: str, comment: str
) -> None:
    """Nine brackets at the end of a text are seen if and only if they are not in a string."""
    text = f"a = {start}{inside}{end}{comment}"
    try:
        tomllib.loads(text)
    except ValueError:
        return
    assert too_deep(f"{text}\nb = {'[' * 9}") == (text.count("\n") + 2, "over 8 open brackets")


def test_a_deep_change_is_refused_at_once() -> None:
    start = process_time()
    for change in ("a." * 50_000 + "b=1", '"a".' * 20_000 + "b=1", "tube.wall=" + "[" * 400):
        with pytest.raises(CaseError) as caught:
            read_case_text(BASE, "case.toml", (change,))
        (fault,) = caught.value.faults
        assert fault.file == "--set"
        assert len(str(fault)) < 1500
    assert process_time() - start < 5.0


def test_of_very_many_faults_the_first_hundred_are_told() -> None:
    keys = "".join(f"outside_diametr{n} = 1\n" for n in range(20_000))
    start = process_time()
    with pytest.raises(CaseError) as caught:
        read_case_text(BASE.replace("[tube]\n", f"[tube]\n{keys}"), "case.toml")
    faults = caught.value.faults
    assert [fault.given for fault in faults[:2]] == ["1", "1"]
    assert (len(faults), faults[-1].given) == (101, "20000 faults")
    assert process_time() - start < 5.0
