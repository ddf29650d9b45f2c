"""Good cases: what they read as, their defaults, changes over them, starter, schema, rows."""

from __future__ import annotations

import json
import math
import pickle
import re
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from lapheat.case.alloys import builtin, builtin_names
from lapheat.case.case import Display
from lapheat.case.file import (
    CaseError,
    case_schema,
    case_to_toml,
    read_case,
    read_case_text,
    resolved_rows,
    starter_text,
)
from lapheat.case.keys.schema import LISTS, entry_at, every_key
from support.case_texts import ALLOY, BASE, BEAD, PROBE, put

CASES = Path(__file__).parents[3] / "cases"

MINIMAL = """
[tube]
outside_diameter = "1.5 in"
wall = "0.065 in"
[flange]
thickness = "1/4 in"
outside_diameter = "4 in"
[arc]
current = "70 A"
[travel]
speed = "2.5 mm/s"
segment = "5/8 in"
pause = "15 s"
"""


def test_defaults_are_those_of_the_contract() -> None:
    case = read_case_text(MINIMAL, "cases/my-stub.toml")
    assert case.title == "my-stub"
    assert case.joint == "tube-to-flange"
    assert case.tube.alloy == "304L"
    assert case.tube.length == pytest.approx(3 * 0.0381)
    assert case.flange is not None
    assert case.flange.alloy == "low-carbon steel"
    assert case.lap is not None
    assert (case.lap.depth, case.lap.clearance) == (0.00635, 1e-4)
    assert case.fillet is not None
    assert (case.fillet.filler, case.fillet.wire_diameter) == ("CuSi3Mn1", 1.6e-3)
    assert case.fillet.leg == pytest.approx(2 * 1.651e-3)
    assert (case.arc.spot, case.arc.aim) == (1.6e-3, 0.0)
    assert case.arc.work_angle == pytest.approx(math.pi / 4)
    travel = case.travel
    assert (travel.overlap, travel.dwell, travel.taper, travel.coverage) == (0.0, 0.0, 0.0, 1.0)
    assert travel.resume_below is None
    assert travel.order == "in-turn"
    air = case.surroundings
    assert (air.temperature, air.convection, air.bore_convection) == (293.15, 10.0, 5.0)
    assert (case.limits.base_margin, case.limits.wet_fraction) == (50.0, 0.95)
    assert case.detail == "standard"
    assert case.probes == ()
    assert case.alloys == {n: builtin(n) for n in ("304L", "low-carbon steel", "CuSi3Mn1")}


@pytest.mark.parametrize(
    ("override", "length", "leg"),
    [("tube.outside_diameter=60 mm", 0.15, 3.302e-3), ("tube.wall=0.8 mm", 0.1143, 2e-3)],
)
def test_length_and_leg_stop_at_their_bounds(override: str, length: float, leg: float) -> None:
    case = read_case_text(MINIMAL, "x", [override])
    assert case.fillet is not None
    assert (case.tube.length, case.fillet.leg) == (length, leg)


# Load voltage of TIG: IEC 60974-1, U = 10 V + 0.04 V/A x I up to 600 A, then 34 V.
@pytest.mark.parametrize(
    ("current", "volts"), [(60, 12.4), (100, 14.0), (150, 16.0), (600, 34.0), (700, 34.0)]
)
def test_voltage_left_out_is_the_conventional_one(current: int, volts: float) -> None:
    case = read_case_text(MINIMAL, "x", [f"arc.current={current} A"])
    assert (case.arc.voltage, case.arc.voltage_measured, case.arc.efficiency) == (
        volts,
        False,
        0.63,
    )
    sentence = case.assumed[0]
    assert f"{volts:.4g} V" in sentence
    assert "0.63" in sentence


def test_measured_voltage_has_its_own_efficiency() -> None:
    case = read_case_text(MINIMAL, "x", ["arc.voltage=11 V"])
    assert (case.arc.voltage, case.arc.voltage_measured) == (11.0, True)
    assert case.arc.efficiency == 0.75
    assert case.assumed == ()
    # 80 A, 13.2 V, 0.75: 792 W (ISO/TR 18491, power x efficiency).
    case = read_case_text(MINIMAL, "x", ["arc.current=80 A", "arc.voltage=13.2 V"])
    assert case.arc.power == pytest.approx(792.0)


def test_bead_on_tube_has_no_flange() -> None:
    case = read_case_text(BEAD + PROBE.replace('"6 mm"', '"-50 mm"'), "x")
    assert (case.flange, case.lap, case.fillet) == (None, None, None)
    assert case.arc.work_angle == pytest.approx(math.pi / 2)
    assert set(case.alloys) == {"304L"}
    assert case.probes[0].height == -0.05


def test_inches_and_millimetres_are_the_same_case() -> None:
    metric = MINIMAL
    for inch, millimetre in (
        ("1.5 in", "38.1 mm"),
        ("0.065 in", "1.651 mm"),
        ("1/4 in", "6.35 mm"),
        ("4 in", "10.16 cm"),
        ("5/8 in", "15.875 mm"),
        ("2.5 mm/s", "150 mm/min"),
    ):
        metric = metric.replace(f'"{inch}"', f'"{millimetre}"')
    assert metric != MINIMAL
    ours, theirs = read_case_text(MINIMAL, "x"), read_case_text(metric, "x")
    assert theirs.display == Display("mm", "degC")
    assert replace(ours, display=theirs.display) == theirs


def test_order_of_tables_does_not_matter() -> None:
    tables = ["[" + part for part in MINIMAL.strip().removeprefix("[").split("\n[")]
    assert len(tables) == 4
    assert read_case_text("\n".join(reversed(tables)), "x") == read_case_text(MINIMAL, "x")


@pytest.mark.parametrize(
    ("overrides", "display"),
    [
        ((), Display("in", "degC")),
        (("tube.outside_diameter=0.125 ft",), Display("in", "degC")),
        (("tube.outside_diameter=38 mm",), Display("mm", "degC")),
        (("surroundings.temperature=68 degF",), Display("in", "degF")),
        (("travel.resume_below=300 degF",), Display("in", "degF")),
        (("travel.resume_below=150 degC", "limits.base_margin=90 delta_degF"), Display("in")),
    ],
)
def test_display_follows_the_users_units(overrides: tuple[str, ...], display: Display) -> None:
    assert read_case_text(MINIMAL, "x", overrides).display == display


def test_overrides_go_through_the_same_door() -> None:
    case = read_case_text(
        BASE + ALLOY,
        "x",
        [
            "title=Second try: slower",
            "travel.pause=30 s",
            'travel.speed="2 mm/s"',
            "travel.order=[1, 3, 2, 4, 5, 7, 6, 8]",
            "numerics.detail=fine",
            "arc.efficiency=0.7",
            "tube.wall=1/16 in",
            "tube.alloy=304",
            'alloys."mine".emissivity=0.9',
            "alloys.mine.density=8000 kg/m^3",
            "travel.pause=40 s",
        ],
    )
    assert case.title == "Second try: slower"
    assert case.travel.pause == 40.0
    assert case.travel.speed == 0.002
    assert case.travel.order == (1, 3, 2, 4, 5, 7, 6, 8)
    assert case.detail == "fine"
    assert case.arc.efficiency == 0.7
    assert case.tube.wall == 0.0015875
    assert case.tube.alloy == "304"


@pytest.mark.parametrize("title", ["true", "2024-01-01", "1 = 2", 'a "b"', "42", "# x", "it's"])
def test_a_title_is_text_however_it_looks(title: str) -> None:
    assert read_case_text(BASE, "x", [f"title={title}"]).title == title


def test_detail_wins_over_file_and_set() -> None:
    text = put("numerics", 'detail = "fine"')
    assert read_case_text(text, "x").detail == "fine"
    assert read_case_text(text, "x", ["numerics.detail=standard"], detail="coarse").detail == (
        "coarse"
    )


def test_a_bare_text_is_one_override() -> None:
    assert read_case_text(MINIMAL, "x", "arc.current=50 A").arc.current == 50.0


@pytest.mark.parametrize("given", [{"arc.current": "50 A"}, 50, [("arc.current", "50 A")], None])
def test_overrides_that_are_no_texts_are_refused(given: object) -> None:
    with pytest.raises(CaseError, match='allowed: a list of "KEY=VALUE" texts'):
        read_case_text(MINIMAL, "x", given)  # type: ignore[arg-type]


def test_a_whole_case_can_come_from_overrides() -> None:
    case = read_case_text(
        "",
        "x",
        [
            'tube={outside_diameter="25 mm", wall="1 mm"}',
            'flange={thickness="5 mm", outside_diameter="60 mm"}',
            "arc.current=60 A",
            'travel={speed="2 mm/s", segment="13 mm", pause="5 s"}',
        ],
    )
    assert case.segment_count == 7


def test_coverage_needs_only_as_many_segments_as_it_runs() -> None:
    text = put("travel", "order = [2, 5, 8]")
    assert read_case_text(text, "x", ["travel.coverage=0.3"]).travel.order == (2, 5, 8)
    with pytest.raises(CaseError, match="at least 4 of them"):
        read_case_text(text, "x", ["travel.coverage=0.5"])
    assert read_case_text(text, "x", ["travel.coverage=0.01"]).travel.coverage == 0.01


def test_user_alloy_with_a_table_and_without_melting() -> None:
    alloy = """
[alloys."my steel"]
density = "7850 kg/m^3"
conductivity = { temperature = ["68 degF", "1000 degC"], value = ["50 W/(m K)", "28 W/(m K)"] }
specific_heat = "0.15 cal/(g K)"
emissivity = 0.7
"""
    case = read_case_text(BASE + alloy, "x", ["tube.alloy=my steel"])
    mine = case.alloys["my steel"]
    assert mine.solidus is None
    assert mine.k(293.15) == pytest.approx(50.0)
    assert mine.k(783.15) == pytest.approx(39.0)
    assert mine.c(500.0) == pytest.approx(627.6)
    assert case.display.temperature == "degF"


def test_a_user_alloy_may_be_filler_when_it_melts() -> None:
    case = read_case_text(put("fillet", 'filler = "mine"') + ALLOY, "x")
    assert case.alloys["mine"].liquidus == 1723.15


@pytest.mark.parametrize("size", [("6 mm", "0.3 mm"), ("150 mm", "4 mm")])
def test_smallest_and_largest_tubes_served(size: tuple[str, str]) -> None:
    diameter, wall = size
    case = read_case_text(
        MINIMAL,
        "x",
        [
            f"tube.outside_diameter={diameter}",
            f"tube.wall={wall}",
            "flange.outside_diameter=300 mm",
        ],
    )
    assert case.segment_count >= 2


def test_byte_order_mark_and_windows_lines(tmp_path: Path) -> None:
    path = tmp_path / "stub.toml"
    path.write_bytes(b"\xef\xbb\xbf" + MINIMAL.replace("\n", "\r\n").encode())
    assert read_case(path) == read_case_text(MINIMAL, "stub")
    assert read_case(str(path)).title == "stub"


@pytest.mark.parametrize(
    "name", ["flue-stub", "flue-stub-hot", "flue-stub-cold", "test-bead", "thin-sleeve"]
)
def test_shipped_cases_read(name: str) -> None:
    case = read_case(CASES / f"{name}.toml")
    assert case.segment_count >= 4
    assert case.arc.voltage_measured


def test_starter_is_a_good_case_and_names_every_key() -> None:
    text = starter_text()
    case = read_case_text(text, "new.toml")
    full = re.sub(r"^# (?=\[alloys|\[\[tack|[a-z_]+ = )", "", text, flags=re.MULTILINE)
    every = read_case_text(full, "new.toml")
    assert every.flange == case.flange
    assert every.probes == case.probes
    assert {re.sub(r"\[\d\]", "", key) for key in every.written if "alloys" not in key} == set(
        every_key()
    )
    own = ("density", "conductivity", "specific_heat", "solidus", "latent_heat")
    for key in (*own, "yield_strength", "shear_strength"):
        assert f"# {key} = " in text


def test_starter_shows_the_defaults() -> None:
    case = read_case_text(starter_text(), "new.toml")
    lines = re.findall(r'^# ([a-z_]+) = "?([^"#]+?)"?(?:\s+#.*)?$', starter_text(), re.M)
    shown = dict(reversed(lines))  # the first of a name: [scatter], which repeats some, is last
    for key in (
        "wire_diameter",
        "clearance",
        "work_angle",
        "overlap",
        "detail",
        "wet_fraction",
        "post_flow",
    ):
        entry = next(full for full in every_key() if full.endswith(f".{key}"))
        rerun = read_case_text(
            starter_text(), "x", [f"{entry}={shown[key]}", f"title={case.title}"]
        )
        assert rerun == case, key


# Every key of the contract of case files.
CONTRACT = """
title joint
tube.alloy tube.outside_diameter tube.wall tube.length
flange.alloy flange.thickness flange.outside_diameter
lap.depth lap.clearance fillet.filler fillet.leg fillet.wire_diameter
arc.current arc.voltage arc.efficiency arc.spot arc.work_angle arc.aim
arc.control arc.hold arc.current_range arc.pedal_lag arc.length
travel.speed travel.segment travel.overlap travel.pause travel.resume_below travel.order
travel.dwell travel.taper travel.start travel.dwell_limit travel.coverage
tack.angle tack.length tack.current tack.time
fixture.chill_alloy fixture.chill_length fixture.chill_wall fixture.chill_conductance
fixture.bench_conductance fixture.bench_temperature
surroundings.temperature surroundings.convection surroundings.bore_convection
limits.base_margin limits.wet_fraction limits.flow_margin limits.dry_length
limits.filler_superheat limits.lap_filled numerics.detail
supplies.argon_flow supplies.pre_flow supplies.post_flow
probe.name probe.on probe.angle probe.height probe.radius probe.depth probe.place_error
"""
# What has been added to it.
ADDED = """
fillet.stirring
scale.conductivity scale.emissivity scale.efficiency scale.spot scatter.arc_length
scatter.current scatter.efficiency scatter.spot scatter.speed scatter.aim scatter.wall
scatter.work_angle scatter.clearance scatter.conductivity scatter.emissivity scatter.hold
scatter.pedal_lag
bench.current_range bench.speed_range bench.segment_range bench.hand
"""


def test_every_key_of_the_contract_is_served() -> None:
    assert sorted(every_key()) == sorted([*CONTRACT.split(), *ADDED.split()])


def test_schema_describes_every_key() -> None:
    schema = case_schema()
    json.dumps(schema)
    assert "null" not in json.dumps(schema)
    tables = [schema, *schema["$defs"].values()]
    for table in tables:
        assert table["additionalProperties"] is False
        assert table["description"]
        for key, node in table["properties"].items():
            assert "$ref" in node or node["description"], key
            assert "examples" in node or "$ref" in str(node), key
    assert schema["$defs"]["TubeTable"]["required"] == ["outside_diameter", "wall"]
    assert schema["$defs"]["TubeTable"]["properties"]["wall"]["type"] == "string"
    assert (
        "from 0.1 mm to 20 mm" in schema["$defs"]["TubeTable"]["properties"]["wall"]["description"]
    )
    assert schema["properties"]["joint"]["enum"] == ["tube-to-flange", "bead-on-tube"]
    efficiency = schema["$defs"]["ArcTable"]["properties"]["efficiency"]
    assert efficiency["anyOf"][0] == {"type": "number", "exclusiveMinimum": 0, "maximum": 1}


def test_every_example_and_pattern_of_the_schema_reads() -> None:
    schema = case_schema()
    seen = 0
    for dotted in every_key():
        table, _, key = dotted.rpartition(".")
        path = (table, 0, key) if table in LISTS else (table, key) if table else (key,)
        entry = entry_at(path)
        assert entry is not None
        holder = schema["$defs"][f"{table.title()}Table"] if table else schema
        node = holder["properties"][key]
        for example in node["examples"]:
            entry.read(example)
            if "pattern" in node:
                assert re.search(node["pattern"], example)
            seen += 1
    assert seen > 40


def test_rows_show_what_was_written_beside_si() -> None:
    rows = {key: (given, si) for key, given, si in resolved_rows(read_case_text(MINIMAL, "x"))}
    assert rows["tube.outside_diameter"] == ("1.5 in", "0.0381 m")
    assert rows["travel.speed"] == ("2.5 mm/s", "0.0025 m/s")
    assert rows["arc.spot"] == ("0.063 in (default)", "0.0016 m")
    assert rows["surroundings.temperature"] == ("20 degC (default)", "293.15 K")
    assert rows["travel.resume_below"] == ("none (default)", "none")
    rows = {
        key: (given, si)
        for key, given, si in resolved_rows(
            read_case_text(BASE + PROBE, "x", ["travel.order=[8,7,6,5,4,3,2,1]", "title=T"])
        )
    }
    assert rows["title"] == ("T", "T")
    assert rows["travel.order"] == ("[8, 7, 6, 5, 4, 3, 2, 1]", "[8, 7, 6, 5, 4, 3, 2, 1]")
    assert rows["probe[1].height"] == ("6 mm", "0.006 m")


def test_a_case_travels_between_processes() -> None:
    case = read_case_text(BASE + PROBE + ALLOY, "x", ["tube.alloy=mine"])
    copy = pickle.loads(pickle.dumps(case))
    assert copy == case
    assert copy.written == case.written
    error = CaseError.one("a.toml", "mesh", "10 GB", "at most 2 GB", "use coarse")
    assert str(pickle.loads(pickle.dumps(error))) == str(error)
    assert str(error) == (
        'a.toml: 1 fault\n  mesh\n    given:   "10 GB"\n    allowed: at most 2 GB\n'
        "    hint:    use coarse"
    )


def test_a_case_read_again_costs_few_calls() -> None:
    """Units, quantities and alloys are kept: 2,000 calls, where the first reading takes 200,000.

    A sweep reads its case thousands of times. Calls are counted, as a busy machine changes none.
    """
    read_case_text(MINIMAL, "x")
    calls = 0

    def count(_frame: object, event: str, _argument: object) -> None:
        nonlocal calls
        calls += event == "call"

    before = sys.getprofile()
    sys.setprofile(count)
    try:
        read_case_text(MINIMAL, "x")
    finally:
        sys.setprofile(before)
    assert 100 < calls < 5000


def test_builtin_alloys_all_serve_as_tube() -> None:
    for name in builtin_names():
        case = read_case_text(MINIMAL, "x", [f"tube.alloy={name}"])
        assert read_case_text(case_to_toml(case), "y") == case


@pytest.mark.parametrize(
    ("changes", "idle"),
    [
        ((), {"arc.hold", "arc.current_range", "arc.pedal_lag", "travel.dwell_limit"}),
        (("arc.control=pedal",), {"travel.dwell_limit"}),
        (("arc.control=pedal", "travel.start=on-flow"), {"travel.dwell"}),
    ],
)
def test_defaults_without_effect_are_not_told(changes: tuple[str, ...], idle: set[str]) -> None:
    case = read_case_text(MINIMAL, "stub.toml", changes)
    hand = {"arc.hold", "arc.current_range", "arc.pedal_lag", "travel.dwell", "travel.dwell_limit"}
    told = {key for key, *_ in resolved_rows(case)}
    assert hand - told == idle


def test_a_key_without_effect_that_was_given_is_told() -> None:
    case = read_case_text(MINIMAL, "stub.toml", ("arc.hold=1250 degC",))
    assert ("arc.hold", "1250 degC", "1523.15 K") in resolved_rows(case)
