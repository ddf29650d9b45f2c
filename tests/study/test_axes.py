"""`--vary` and `--free`: what they become, and what each mistake is told."""

from __future__ import annotations

import pytest

from lapheat.case.file import CaseError
from lapheat.study.runs import Source
from lapheat.study.runs.axes import free_axes, given_axes
from study.full_map import CASE as DEMO
from study.full_map import STEADY

CASE = Source.of(DEMO, STEADY).case()
PAUSE = "travel.pause=10 s:30 s:5"


def test_an_axis_is_even_in_the_unit_it_was_asked_in() -> None:
    inch, celsius = given_axes(
        ["travel.segment = 1/4 in : 1 in : 4", "travel.resume_below=100 degC:400 degF:3"], CASE
    )
    assert (inch.unit, inch.values) == ("in", (0.25, 0.5, 0.75, 1.0))
    assert inch.text(inch.at(0.5)) == "0.625 in"
    assert (celsius.unit, celsius.values[0]) == ("degC", 100.0)
    assert celsius.values[2] == pytest.approx(204.444, abs=1e-2)
    assert celsius.share(celsius.at(0.25)) == pytest.approx(0.25, abs=1e-5)


def test_a_plain_number_has_no_unit() -> None:
    efficiency, _ = given_axes(["arc.efficiency=0.6:0.8:3", PAUSE], CASE)
    assert (efficiency.unit, efficiency.values) == ("", (0.6, 0.7, 0.8))
    assert efficiency.text(0.7) == "0.7"


def test_left_out_it_is_segment_and_pause_from_half_to_twice() -> None:
    segment, pause = given_axes([], CASE)
    assert (segment.key, segment.unit, len(segment.values)) == ("travel.segment", "in", 7)
    assert (segment.values[0], segment.values[-1]) == (0.25, 1.0)
    assert (pause.key, pause.values) == ("travel.pause", (7.5, 11.25, 15, 18.75, 22.5, 26.25, 30))


def test_one_key_alone_is_an_axis() -> None:
    (pause,) = given_axes([PAUSE], CASE)
    assert (pause.key, len(pause.values), pause.told) == ("travel.pause", 5, PAUSE)


def test_a_key_that_was_not_written_has_the_units_of_its_case() -> None:
    """And a temperature is varied by kelvins, not by factors of what it is above absolute zero."""
    degrees = Source.of(DEMO, (*STEADY, "surroundings.temperature=70 degF"))
    (hold, overlap) = free_axes(
        "travel.resume_below=200 degF:400 degF,travel.overlap=1 mm:2 mm", CASE
    )
    assert (hold.unit, overlap.unit) == ("degF", "mm")
    text = degrees.text.replace('hold = "1290 degC"', "").replace('speed = "2 mm/s"', "")
    case = Source(text, "x.toml", (*degrees.changes, "travel.speed=5 in/min")).case()
    hold, speed = free_axes("arc.hold,travel.speed", case)
    assert (hold.unit, speed.unit) == ("degF", "in/min")
    assert hold.values[1] - hold.values[0] == pytest.approx(2 * 150.0 * 1.8, abs=0.2)


def test_what_is_free_has_a_range() -> None:
    current, aim, speed = free_axes("arc.current, arc.aim ,travel.speed=1 mm/s:3 mm/s", CASE)
    assert (current.unit, current.values) == ("A", (33.0, 132.0))
    assert (aim.unit, aim.values) == ("mm", (-2.0, 4.0))  # 1 mm, and 1.5 spots of 2 mm
    assert speed.values == (1.0, 3.0)
    assert free_axes("", CASE) == ()


@pytest.mark.parametrize(
    ("texts", "told"),
    [
        ([PAUSE, PAUSE], "each key once"),
        ([PAUSE, "travel.segment"], "KEY=FROM:TO:COUNT with a COUNT from 2 to 200"),
        ([PAUSE, "travel.segment=8 mm:20 mm"], "KEY=FROM:TO:COUNT"),
        ([PAUSE, "travel.segment=8 mm:20 mm:1"], "from 2 to 200"),
        ([PAUSE, "travel.segment=8 mm:20 mm:7.5"], "from 2 to 200"),
        ([PAUSE, "travel.segment=8 mm:20 mm:" + 5000 * "9"], "from 2 to 200"),
        ([PAUSE, "travel.segment=8 mm:20 mm:\u0667"], "from 2 to 200"),
        ([PAUSE, "arc.efficiency=0.\u0665:0.7:3"], "a number above 0 and at most 1"),
        ([PAUSE, "arc.efficiency=0.5:0.7_5:3"], "a number above 0 and at most 1"),
        ([PAUSE, "travel.segment=20 mm:8 mm:7"], "FROM below TO"),
        ([PAUSE, "travel.segment=8 mm:8 mm:7"], "FROM below TO"),
        ([PAUSE, "travel.segment=8:20 mm:7"], "a length from 0.5 mm to 1600 mm"),
        ([PAUSE, "travel.segment=8 mm:20 s:7"], "a length from 0.5 mm to 1600 mm"),
        ([PAUSE, "arc.efficiency=0.5:1.5:3"], "a number above 0 and at most 1"),
        ([PAUSE, "travel.order=a:b:3"], "a key that is not a number"),
        ([PAUSE, "travel.segmnt=8 mm:20 mm:7"], 'did you mean "travel.segment"'),
        ([PAUSE, "=8 mm:20 mm:7"], "no such key"),
        ([PAUSE, "travel=1:2:3"], "no such key"),
    ],
)
def test_a_wrong_axis_is_told(texts: list[str], told: str) -> None:
    with pytest.raises(CaseError) as error:
        given_axes(texts, CASE)
    assert told in str(error.value)
    assert str(error.value).startswith("--vary")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("arc.current,arc.current", "each key once"),
        ("travel.pause", "a key not varied"),
        ("travel.taper", "a range of your own"),  # it is zero in this case
        ("arc.current=50 A", "KEY or KEY=FROM:TO"),
        ("arc.spto", 'did you mean "arc.spot"'),
    ],
)
def test_a_wrong_free_key_is_told(text: str, told: str) -> None:
    with pytest.raises(CaseError) as error:
        free_axes(text, CASE, given_axes([PAUSE, "travel.segment=8 mm:20 mm:7"], CASE))
    assert told in str(error.value)
    assert str(error.value).startswith("--free")
