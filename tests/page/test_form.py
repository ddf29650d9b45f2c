"""The form holds every key of a case, and a case goes through it and back unchanged."""

from __future__ import annotations

from pathlib import Path

import pytest

from lapheat.case.faults import CaseError
from lapheat.case.file import read_case_text, starter_text
from lapheat.case.keys.schema import every_key, field_at
from lapheat.page.checked import case_text_of, checked
from lapheat.page.form import COMMON, form, raw_of, toml_of, values_of
from lapheat.page.words import in_page
from support.case_texts import ALLOY, BEAD, FIXTURE, PROBE, TACK
from support.page import SMALL

CASES = Path(__file__).parents[2] / "cases"
FILES = sorted([*CASES.glob("*.toml"), *CASES.glob("published/*.toml")])


def test_every_key_has_a_field_and_no_field_is_made_up() -> None:
    fields = {field["key"]: field for table in form() for field in table["fields"]}
    assert sorted(fields) == sorted(every_key())
    assert fields.keys() >= COMMON
    for key, field in fields.items():
        about = field_at(key.replace("probe.", "probe[1].").replace("tack.", "tack[1]."))
        assert about is not None
        assert field["help"] == in_page(about.description)
        assert field["label"]
        assert field["allowed"]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_shipped_case_goes_through_the_form_unchanged(path: Path) -> None:
    text = path.read_text("utf-8")
    values, more = values_of(text)
    assert more == "" or "[alloys" in more
    assert read_case_text(case_text_of(values, more), "a.toml") == read_case_text(text, "a.toml")


@pytest.mark.parametrize(
    "text",
    [
        starter_text(),
        BEAD + PROBE,
        SMALL
        + FIXTURE.replace("6 mm", "2 mm")
        + TACK
        + '[bench]\nhand = ["clock", "flow"]\ncurrent_range = ["20 A", "90 A"]\n',
        SMALL.replace('"10 mm"', '"10 mm"\norder = [1, 3, 2, 4]') + ALLOY,
    ],
)
def test_a_whole_case_goes_through_the_form_unchanged(text: str) -> None:
    assert read_case_text(case_text_of(*values_of(text)), "a") == read_case_text(text, "a")


def test_what_has_no_field_is_kept_beside_the_form_and_refused_as_in_a_file() -> None:
    text = SMALL.replace('wall = "1.2 mm"', 'wall = "1.2 mm"\nwal = "2 mm"')
    values, more = values_of(text)
    assert more == '[tube]\nwal = "2 mm"\n'
    (fault,) = checked(values, more)["faults"]
    with pytest.raises(CaseError) as caught:
        read_case_text(text, "case.toml")
    (same,) = caught.value.faults
    assert (fault["key"], fault["given"], fault["allowed"], fault["hint"]) == (
        same.key,
        same.given,
        same.allowed,
        same.hint,
    )


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("tube.wall", "0.065"),
        ("tube.wall", "20 m"),
        ("arc.control", "peddle"),
        ("travel.order", "[1, 1]"),
        ("travel.order", "[1, "),
        ("arc.efficiency", "2"),
        ("title", "a\nb"),
        ("arc.current_range", '["90 A", "20 A"]'),
    ],
)
def test_a_fault_is_told_in_the_words_of_the_command_line(key: str, text: str) -> None:
    values, more = values_of(SMALL)
    values[key] = text
    told = [fault for fault in checked(values, more)["faults"] if fault["key"] == key]
    with pytest.raises(CaseError) as caught:
        read_case_text(toml_of(raw_of(values, more)), "case.toml")
    words = str(caught.value)
    assert told
    for fault in told:
        assert f"given:   {fault['given']}" in words
        assert f"allowed: {fault['allowed']}" in words
        assert fault["hint"] in words


@pytest.mark.parametrize(
    "key", ["../x", "tube.wall.x", "probe[0].name", "probe[101].name", "", "a.b\n"]
)
def test_a_field_that_does_not_exist_is_refused(key: str) -> None:
    values, more = values_of(SMALL)
    faults = checked(values | {key: "1"}, more)["faults"]
    assert faults
    assert "outside_diameter" not in str(faults)


def test_defaults_are_shown_in_their_fields() -> None:
    told = checked(*values_of(SMALL))
    assert told["faults"] == []
    assert told["defaults"]["lap.depth"] == "3 mm"
    assert told["defaults"]["tube.alloy"] == "304L"
    assert told["drawing"]["leg"] == pytest.approx(2.4)
    assert [each["number"] for each in told["drawing"]["segments"]] == [1, 2, 3, 4]
