"""Tables, probes, alloys and joints that cannot be; every fault of a file is told at once."""

from __future__ import annotations

import pytest

from support.case_texts import ALLOY, BASE, BEAD, PROBE, faults_of, put, the_fault

# text, key, given, allowed
BAD_TEXTS = [
    ('titel = "x"' + BASE, "titel", '"x"', "title, joint, tube"),
    ("title = [1]" + BASE, "title", "[1]", "one line of text"),
    ('title = """a\nb"""' + BASE, "title", r'"a\nb"', "one line of text"),
    ('title = "\\u001b[31m"' + BASE, "title", r'"\u001b[31m"', "one line of text"),
    ("title = " + '"x"'.replace("x", "x" * 300) + BASE, "title", " ...", "one line of text"),
    ('joint = "butt"' + BASE, "joint", '"butt"', '"tube-to-flange" or "bead-on-tube"'),
    ("probe = 3" + BASE, "probe", "3", "each headed [[probe]]"),
    (BASE + '\n[probe]\nname = "a"\n', "probe", '{ name = "a" }', "each headed [[probe]]"),
    (BASE + "\n[tubes]\n", "tubes", "{}", "title, joint, tube"),
    (BASE + PROBE + PROBE, "probe[2].name", '"toe"', "probe[1] has it"),
    (BASE + PROBE.replace("toe", "a b"), "probe[1].name", '"a b"', "letters"),
    (BASE + PROBE.replace("toe", ""), "probe[1].name", '""', "letters"),
    (BASE + PROBE.replace('name = "toe"', ""), "probe[1].name", "nothing", "letters"),
    (BASE + PROBE.replace('"tube"', '"tub"'), "probe[1].on", '"tub"', '"tube" or "flange"'),
    (BASE + PROBE.replace('"6 mm"', '"101 mm"'), "probe[1].height", '"101 mm"', "to 100 mm"),
    (BASE + PROBE.replace('"6 mm"', '"-7 mm"'), "probe[1].height", '"-7 mm"', "from -6.35 mm"),
    (BASE + PROBE.replace('height = "6 mm"', ""), "probe[1].height", "nothing", "a height on"),
    (BASE + PROBE + 'radius = "3 mm"', "probe[1].radius", '"3 mm"', "stands at a height"),
    (BASE + PROBE + 'depth = "1.66 mm"', "probe[1].depth", '"1.66 mm"', "tube's wall, 1.65 mm"),
    (BASE + PROBE + 'angle = "400 deg"', "probe[1].angle", '"400 deg"', "to 360 deg"),
    (BASE + PROBE + 'size = "1 mm"', "probe[1].size", '"1 mm"', "a key of [probe[1]]"),
    (
        BASE + PROBE.replace("tube", "flange").replace("height", "radius") + 'depth = "7 mm"',
        "probe[1].depth",
        '"7 mm"',
        "flange's thickness, 6.35 mm",
    ),
    (
        BASE + PROBE.replace("tube", "flange").replace('height = "6', 'radius = "31'),
        "probe[1].radius",
        '"31 mm"',
        "from 0.1 mm to 30.95 mm",
    ),
    (BEAD + "\n[flange]\n", "flange", "{}", "does not belong to a bead-on-tube"),
    (BEAD + "\n[fillet]\nleg = '3 mm'", "fillet", '{ leg = "3 mm" }', "does not belong"),
    (BEAD + "\n[lap]\n", "lap", "{}", "does not belong to a bead-on-tube"),
    (put("arc", 'aim = "1 mm"', BEAD), "arc.aim", '"1 mm"', "square to the wall"),
    (
        BEAD + PROBE.replace("tube", "flange").replace("height", "radius"),
        "probe[1].on",
        '"flange"',
        "a bead-on-tube has no flange",
    ),
    (BEAD + PROBE.replace('"6 mm"', '"51 mm"'), "probe[1].height", '"51 mm"', "from -50 mm to 50"),
    (BASE + ALLOY.replace("mine", "304L"), "alloys.304L", "304L", "not a built-in"),
    (
        BASE + ALLOY.replace('solidus = "1400 degC"', ""),
        "alloys.mine.solidus",
        "nothing",
        "all three melting keys",
    ),
    (
        BASE + ALLOY.replace('"1400 degC"', '"1500 degC"'),
        "alloys.mine.solidus",
        '"1500 degC"',
        "at most the liquidus, 1450 degC",
    ),
    (
        BASE + ALLOY.replace('"7900 kg/m^3"', '"0 kg/m^3"'),
        "alloys.mine.density",
        '"0 kg/m^3"',
        "a density from 10 kg/m^3",
    ),
    (
        BASE + ALLOY.replace("emissivity = 0.5", "emissivity = -0.5"),
        "alloys.mine.emissivity",
        "-0.5",
        "a number from 0 to 1",
    ),
    (
        BASE + ALLOY.replace('"15 W/(m K)"', "15"),
        "alloys.mine.conductivity",
        "15",
        "a conductivity from",
    ),
    (
        BASE + ALLOY.replace('conductivity = "15 W/(m K)"', ""),
        "alloys.mine.conductivity",
        "nothing",
        "one conductivity, or { temperature",
    ),
    (BASE + ALLOY + 'color = "grey"', "alloys.mine.color", '"grey"', "a key of [alloys.mine]"),
    (BASE + ALLOY.replace("mine", '" "'), 'alloys." "', " ", "a name of 1 to 60"),
    (BASE + 101 * PROBE, "probe", '[{ name = "toe"', "at most 100 entries"),
    (
        put("travel", "order = [1]").replace("[travel]", "[travel]\ncoverage = 2"),
        "travel.coverage",
        "2",
        "at most 1",
    ),
    (BASE + "\n[alloys]\nmine = 3", "alloys.mine", "3", "a table: [alloys.mine]"),
    ("alloys = 3" + BASE, "alloys", "3", "a table"),
]


@pytest.mark.parametrize(("text", "key", "given", "allowed"), BAD_TEXTS)
def test_bad_text(text: str, key: str, given: str, allowed: str) -> None:
    fault = the_fault(text)
    assert (fault.file, fault.key) == ("stub.toml", key)
    assert given in fault.given
    assert allowed in fault.allowed


def test_refused_curves_stay_silent_in_the_checks_across_keys() -> None:
    many = ", ".join(501 * ['"20 degC"'])
    curve = f"{{ temperature = [{many}], value = [] }}"
    faults = faults_of(BASE + ALLOY.replace('"15 W/(m K)"', curve))
    assert [(f.key, f.allowed) for f in faults] == [
        ("alloys.mine.conductivity.temperature", "at most 500 entries")
    ]


# table in place of a conductivity, key below it, given, allowed
BAD_CURVES = [
    ("{}", ".temperature|.value", "nothing", "ris|conductivity"),
    ('{ temperature = ["20 degC"], value = ["1 W/(m K)"] }', ".temperature", "1", "at least two"),
    ("{ temperature = [], value = [] }", ".temperature", "nothing", "at least two"),
    (
        '{ temperature = ["20 degC", "30 degC"], value = ["1 W/(m K)"] }',
        ".value",
        "1 values",
        "as many values as temperatures: 2",
    ),
    (
        '{ temperature = ["20 degC", "20 degC"], value = ["1 W/(m K)", "2 W/(m K)"] }',
        ".temperature[2]",
        '"20 degC"',
        "rising: above 20 degC",
    ),
    (
        '{ temperature = ["20 degC", 30], value = ["1 W/(m K)", "2 W/(m K)"] }',
        ".temperature[2]",
        "30",
        "a temperature from",
    ),
    (
        '{ temperature = ["20 degC", "30 degC"], value = ["1 W/(m K)", "0 W/(m K)"] }',
        ".value[2]",
        '"0 W/(m K)"',
        "a conductivity from 0.01 W/(m K)",
    ),
    ('{ temperature = "20 degC", value = ["1 W/(m K)"] }', ".temperature", '"20', "a list"),
    ('{ temperatures = ["20 degC"], value = 3 }', "s|.temperature|.value", "", ""),
]


@pytest.mark.parametrize(("curve", "keys", "given", "allowed"), BAD_CURVES)
def test_bad_curve(curve: str, keys: str, given: str, allowed: str) -> None:
    faults = faults_of(BASE + ALLOY.replace('"15 W/(m K)"', curve))
    assert len(faults) == len(keys.split("|"))
    for fault, key in zip(faults, keys.split("|"), strict=True):
        assert fault.key.startswith("alloys.mine.conductivity")
        assert any(fault.key.endswith(key) for key in keys.split("|")), key
        assert given in fault.given
        assert any(words in fault.allowed for words in allowed.split("|"))


def test_filler_that_cannot_melt() -> None:
    solid = "\n".join(
        line for line in ALLOY.splitlines() if line[:4] not in ("soli", "liqu", "late")
    )
    fault = the_fault(put("fillet", 'filler = "mine"') + solid)
    assert fault.key == "fillet.filler"
    assert "an alloy that melts" in fault.allowed


@pytest.mark.parametrize(
    ("overrides", "key", "words"),
    [
        (("fillet.leg=20 mm", "tube.length=18 mm"), "fillet.leg", "free length, 18 mm"),
        (("fillet.leg=1 mm", "lap.clearance=1.5 mm"), "fillet.leg", "clearance it bridges, 1.5 mm"),
        (("arc.aim=-20 mm", "arc.work_angle=80 deg"), "arc.aim", "above -17.633 mm"),
    ],
)
def test_impossible_joints(overrides: tuple[str, ...], key: str, words: str) -> None:
    fault = the_fault(BASE, *overrides)
    assert fault.key == key
    assert words in fault.allowed


def test_a_default_that_does_not_fit_is_told_with_its_value() -> None:
    fault = the_fault(put("tube", 'length = "3 mm"', BASE.replace('leg = "3 mm"', "")))
    assert fault.key == "fillet.leg"
    assert fault.given == "nothing; the default is 0.0033 m"


ALL_AT_ONCE = """
titel = "x"
[tube]
wal = "1 mm"
outside_diameter = "38.1 A"
alloy = "3O4L"
[flange]
thickness = "1/4 in"
outside_diameter = "80 mm"
[lap]
depth = "1 in"
[arc]
current = "70 A"
control = "peddle"
efficiency = 2.0
[travel]
speed = "2 mm/s"
segment = "15 mm"
resume_below = "10 degC"
order = [1, 1]
[[probe]]
name = "a"
on = "tube"
[[probe]]
name = "a"
on = "tubes"
height = "3 mm"
[alloys.x]
density = "7 g"
"""


def test_all_faults_of_a_file_are_told_at_once() -> None:
    faults = faults_of(ALL_AT_ONCE, "limits.base_margin=50 degC")
    assert {fault.key for fault in faults} == {
        "titel",
        *("tube.wal", "tube.outside_diameter", "tube.wall", "tube.alloy", "lap.depth"),
        *("arc.control", "arc.efficiency"),
        *("travel.pause", "travel.resume_below", "travel.order"),
        *("probe[1].height", "probe[2].name", "probe[2].on"),
        *("alloys.x.density", "alloys.x.conductivity", "alloys.x.specific_heat"),
        "alloys.x.emissivity",
        "limits.base_margin",
    }
    assert len(faults) == 19


def test_every_missing_key_is_told() -> None:
    keys = {fault.key for fault in faults_of('title = "nothing else"')}
    assert keys == {
        *("tube.outside_diameter", "tube.wall", "flange.thickness", "flange.outside_diameter"),
        *("arc.current", "travel.speed", "travel.segment", "travel.pause"),
    }


def test_a_table_that_is_none_is_told_once() -> None:
    text = 'tube = "thin"' + BASE.replace("[tube]", "[tubing]")
    assert [fault.key for fault in faults_of(text)] == ["tube", "tubing"]
