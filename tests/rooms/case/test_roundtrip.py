"""A resolved case, written and read back, is the same case."""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lapheat.case.alloys import builtin_names
from lapheat.case.file import case_to_toml, read_case, read_case_text
from support.case_texts import ALLOY, ARC_TACK, BASE, BEAD, FIXTURE, PROBE, TACK

CASES = Path(__file__).parents[3] / "cases"


def quantity(low: float, high: float, *units: str) -> st.SearchStrategy[str]:
    """Text within `low` to `high` of the first unit; another is "NAME:ITS SIZE IN THE FIRST"."""
    pairs = [unit.partition(":") for unit in units]
    options = [(name, float(size or 1.0)) for name, _, size in pairs]
    edge = 1e-6 * (high - low)  # rounding in another unit must not leave the range
    number = st.floats(low + edge, high - edge).map(lambda x: float(f"{x:.9g}"))
    return st.builds(
        lambda x, unit: f"{x / unit[1]:.10g} {unit[0]}",
        number,
        st.sampled_from(options),
    )


MM = ("mm", "in:25.4", "cm:10", "thou:0.0254")


@st.composite
def cases(draw: st.DrawFn) -> str:
    """Text of a random good case."""

    def number(low: float, high: float) -> float:
        return draw(st.floats(low, high))

    def some(**lines: st.SearchStrategy[str]) -> list[str]:
        return [f'{key} = "{draw(value)}"' for key, value in lines.items() if draw(st.booleans())]

    bead = draw(st.booleans())
    diameter = number(6.0, 150.0)
    wall = number(0.3, min(4.0, 0.3 * diameter))
    length = number(60.0, 200.0)
    ring = math.pi * diameter
    count = draw(st.integers(2, 20))
    segment = ring / (count - number(0.01, 0.9))
    order = draw(
        st.one_of(
            st.sampled_from(['"in-turn"', '"opposite"', '"quarters"', '"backstep"']),
            st.permutations(range(1, count + 1)).map(str),
        )
    )
    title = draw(st.text(st.characters(codec="utf-8", exclude_categories=["C", "Z"]), min_size=1))
    unit, size = draw(st.sampled_from([("mm", 1.0), ("in", 25.4)]))
    names = list(builtin_names())
    tube_alloy = draw(st.sampled_from([*names, "mine", "plain"]))
    lines = [
        f"title = '{title}'" if "'" not in title else "",
        'joint = "bead-on-tube"' if bead else "",
        "[tube]",
        f'outside_diameter = "{diameter / size!r} {unit}"',
        f'wall = "{wall!r} mm"',
        f'length = "{length!r} mm"',
        f'alloy = "{tube_alloy}"',
        "[arc]",
        f'current = "{draw(quantity(50, 1000, "A", "kA:1000"))}"',
        *some(voltage=quantity(5, 40, "V", "mV:0.001"), spot=quantity(1.6, 10, *MM)),
        *([f"efficiency = {number(0.2, 1.0)!r}"] if draw(st.booleans()) else []),
        *([] if bead else some(work_angle=quantity(5, 85, "deg"), aim=quantity(-4, 4, *MM))),
        "[travel]",
        f'speed = "{draw(quantity(0.1, 2, "mm/s", "in/min:0.42333333"))}"',
        f'segment = "{segment!r} mm"',
        f'pause = "{draw(quantity(0, 600, "s", "min:60"))}"',
        f'overlap = "{min(number(0.0, 0.9) * ring / count, 99.0)!r} mm"',
        f"order = {order}",
        f"coverage = {number(0.001, 1.0)!r}",
        *some(
            resume_below=quantity(80, 900, "degC"),
            dwell=quantity(0, 20, "s"),
            taper=quantity(0, 20, "s"),
        ),
        "[surroundings]",
        *some(
            temperature=st.one_of(quantity(-50, 70, "degC"), quantity(-50, 150, "degF")),
            convection=quantity(0, 500, "W/(m^2 K)"),
            bore_convection=quantity(0, 500, "W/(m^2 K)", "BTU/(hr ft^2 degF):5.7"),
        ),
        "[limits]",
        *some(base_margin=quantity(0, 300, "K", "delta_degF:0.556")),
        f"wet_fraction = {number(0.01, 1.0)!r}",
        *some(
            flow_margin=quantity(0, 300, "K", "delta_degF:0.556"),
            dry_length=quantity(0, 50, "mm", "in:25.4"),
            filler_superheat=quantity(0, 900, "K", "delta_degF:0.556"),
        ),
        f"lap_filled = {number(0.0, 1.0)!r}",
        "[supplies]",
        *some(
            argon_flow=quantity(1, 60, "L/min", "ft^3/h:0.471947443"),
            pre_flow=quantity(0, 120, "s"),
            post_flow=quantity(0, 120, "s", "min:60"),
        ),
        *(["[numerics]", 'detail = "fine"'] if draw(st.booleans()) else []),
    ]
    if not bead:
        leg = number(0.5, 3.0)
        thickness = number(0.5, 30.0)
        lines += [
            "[flange]",
            f'thickness = "{thickness!r} mm"',
            f'outside_diameter = "{diameter + 2 * leg + number(10.0, 200.0)!r} mm"',
            "[lap]",
            *([f'depth = "{number(0.2, 1.0) * thickness!r} mm"'] if draw(st.booleans()) else []),
            *some(clearance=quantity(0.005, 0.4, *MM)),
            "[fillet]",
            f'leg = "{leg!r} mm"',
            *some(wire_diameter=quantity(0.3, 8, *MM)),
        ]
    for index in range(draw(st.integers(0, 2))):
        lines += [
            "[[probe]]",
            f'name = "p{index}"',
            'on = "tube"',
            f'height = "{number(-0.1, 0.49) * length if bead else number(0.0, length)!r} mm"',
            *some(
                angle=quantity(-360, 360, "deg"),
                depth=quantity(0, 0.3, "mm"),
                place_error=quantity(0, 10, *MM),
            ),
        ]
    touch = quantity(1, 50000, "W/(m^2 K)")
    if draw(st.booleans()):
        lines += [
            "[fixture]",
            f'chill_alloy = "{draw(st.sampled_from([*names, "mine"]))}"',
            f'chill_length = "{number(0.02, 0.99) * length!r} mm"',
            f'chill_wall = "{max(0.2, number(0.2, 0.98) * (0.5 * diameter - wall))!r} mm"',
            f'chill_conductance = "{draw(touch)}"',
        ]
        if not bead and draw(st.booleans()):
            lines += [f'bench_conductance = "{draw(touch)}"']
            lines += some(bench_temperature=quantity(-50, 900, "degC"))
    for index in range(0 if bead else draw(st.integers(0, 3))):
        lines += [
            "[[tack]]",
            f'angle = "{number(-110.0, -20.0) + 120.0 * index!r} deg"',
            f'length = "{number(0.07, 0.08) * ring!r} mm"',
            *(['current = "900 A"', 'time = "60 s"'] if draw(st.booleans()) else []),
        ]
    plain = [row for row in ALLOY.splitlines() if row[:4] not in ("soli", "liqu", "late")]
    curve = '{ temperature = ["-10 degF", "500 K", "999.9 degC"], value = ["1 W/(m K)", %s] }'
    values = '"2.7 W/(m K)", "0.03 W/(cm K)"'
    return (
        "\n".join(lines)
        + ALLOY.replace('"15 W/(m K)"', curve % values)
        + f'expansion = "{draw(quantity(1, 40, "um/(m K)"))}"\n'
        + f'yield_strength = "{draw(quantity(1, 3000, "MPa", "ksi:6.894757293"))}"\n'
        + f'carbon = "{draw(quantity(0, 0.2, "%"))}"\n'
        + f'a1 = "{draw(quantity(500, 750, "degC"))}"\na3 = "{draw(quantity(760, 1000, "degC"))}"\n'
        + "\n".join(plain).replace("mine", "plain")
    )


@settings(max_examples=60, deadline=None)
@given(cases())
def test_a_random_case_reads_back_equal(text: str) -> None:
    case = read_case_text(text, "random")
    written = case_to_toml(case)
    again = read_case_text(written, "again")
    assert again == case
    assert case_to_toml(again) == written


@pytest.mark.parametrize("path", sorted(CASES.glob("*.toml")), ids=lambda path: path.stem)
def test_a_shipped_case_reads_back_equal(path: Path) -> None:
    case = read_case(path)
    assert read_case_text(case_to_toml(case), "again") == case


def test_an_imperial_case_reads_back_equal_and_stays_imperial() -> None:
    text = BASE.replace('"38.1 mm"', '"1 1/2 in"').replace(
        "[surroundings]", '[surroundings]\ntemperature = "70 degF"'
    )
    case = read_case_text(text, "x")
    written = case_to_toml(case)
    assert 'outside_diameter = "1.5 in"  # 38.1 mm' in written
    assert 'temperature = "70 degF"  # 21.1' in written
    assert read_case_text(written, "again") == case


def test_a_conventional_voltage_stays_unmeasured() -> None:
    case = read_case_text(BASE, "x")
    written = case_to_toml(case)
    assert "# voltage: 12.8 V" in written
    again = read_case_text(written, "again")
    assert again == case
    assert again.assumed == case.assumed != ()


def test_every_key_is_written() -> None:
    flange_probe = PROBE.replace("toe", "rim").replace("tube", "flange").replace("height", "radius")
    text = BASE + PROBE + flange_probe + FIXTURE + TACK + ARC_TACK
    case = read_case_text(text, "x", ["arc.voltage=11 V"])
    data = tomllib.loads(case_to_toml(case))
    assert set(data) == {
        *("title", "joint", "tube", "flange", "lap", "fillet", "arc", "travel"),
        *("surroundings", "limits", "numerics", "scale", "scatter", "bench", "probe", "tack"),
        *("fixture", "supplies"),
    }
    assert set(data["fixture"]) == {
        *("chill_alloy", "chill_length", "chill_wall", "chill_conductance"),
        *("bench_conductance", "bench_temperature"),
    }
    assert [set(tack) for tack in data["tack"]] == [
        {"angle", "length"},
        {"angle", "length", "current", "time"},
    ]
    assert set(data["tube"]) == {"alloy", "outside_diameter", "wall", "length"}
    assert set(data["arc"]) == {
        *("current", "voltage", "efficiency", "spot", "work_angle", "aim"),
        *("control", "hold", "current_range", "pedal_lag"),
    }
    assert set(data["travel"]) == {
        *("speed", "segment", "overlap", "pause", "order", "dwell", "taper", "coverage"),
        *("start", "dwell_limit"),
    }
    assert [set(probe) for probe in data["probe"]] == [
        {"name", "on", "angle", "height", "depth", "place_error"},
        {"name", "on", "angle", "radius", "depth", "place_error"},
    ]
    data = tomllib.loads(case_to_toml(read_case_text(BEAD, "x")))
    assert set(data) == {
        *("title", "joint", "tube", "arc", "travel", "surroundings", "limits", "numerics"),
        *("scale", "scatter", "supplies"),
    }


@pytest.mark.parametrize("title", ['say "hi"', "back\\slash", "tab\u00a0nbsp", "ünïcode ✓", "# 5"])
def test_titles_survive(title: str) -> None:
    case = read_case_text(BASE, "x", [f"title={title}"])
    assert read_case_text(case_to_toml(case), "again").title == case.title == title
