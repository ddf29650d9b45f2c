"""Orders of segments: what each does to a small tube, how they are ranked, and what is written."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest
from rich.console import Console

from invariance.small import SMALL, text_of
from lapheat.case.case import ORDERS
from lapheat.case.file import CaseError
from lapheat.cli import main
from lapheat.cli.study.sequences import told
from lapheat.report.figures.style import Units
from lapheat.study.runs import Row, Source
from lapheat.study.sequences.figure import SequenceLine, SequencesChart, sequences
from lapheat.study.sequences.files import chart_of, sequences_dict
from lapheat.study.sequences.orders import (
    Order,
    Sequences,
    compare,
    given_orders,
    ranked,
    trials_of,
)
from study.stand_in import made_row, now

THREE = ("in-turn", "opposite", "quarters")
# eight segments round a tube of 12 mm, with a hand that keeps them alike
JOINT = {
    "tube__length": "16 mm",
    "flange__outside_diameter": "30 mm",
    "arc__current": "88 A",
    "arc__aim": "1 mm",
    "arc__control": "pedal",
    "arc__hold": "1310 degC",
    "travel__start": "on-flow",
    "travel__speed": "6 mm/s",
    "travel__segment": "4.8 mm",
    "limits__wet_fraction": 0.8,
    "limits__base_margin": "5 K",
    "limits__dry_length": "5 mm",
}
BEAD = """
joint = "bead-on-tube"
tube = { outside_diameter = "12 mm", wall = "1 mm", length = "20 mm" }
arc = { current = "15 A", spot = "2 mm" }
travel = { speed = "6 mm/s", segment = "9.5 mm", pause = "2 s" }
numerics = { detail = "coarse" }
"""


def compared(pause: str) -> Sequences:
    text = text_of(SMALL, **{**JOINT, "travel__pause": pause})
    return now(compare(Source(text, "small.toml"), THREE))


def hottest(found: Sequences) -> dict[str, float]:
    return {order.order: order.number("hottest_start_C") for order in found.pause.orders}


@pytest.fixture(scope="module")
def quick() -> Sequences:
    return compared("4 s")


def test_opposite_and_quarters_start_cooler_than_in_turn(quick: Sequences) -> None:
    start = hottest(quick)
    assert start["opposite"] < start["in-turn"] - 30.0
    assert start["quarters"] < start["in-turn"] - 30.0
    mean = {o.order: np.mean(o.values("start_C")) for o in quick.pause.orders}
    assert mean["quarters"] < mean["opposite"] + 40.0 < mean["in-turn"]
    assert not quick.pause.same_starts
    assert "no longer matters" not in quick.pause.why


def test_the_most_even_order_that_works_is_picked_and_why(quick: Sequences) -> None:
    pick = quick.pause.pick
    assert pick is not None
    assert pick.works
    even = [order for order in quick.pause.orders if order.works]
    assert pick.number("spread_K") == min(order.number("spread_K") for order in even)
    margin, surplus = (f"{pick.number(name):.0f} K" for name in ("margin_K", "surplus_K"))
    assert quick.pause.why.startswith(
        f"{pick.order.capitalize()} at equal pause: the base stays solid (margin {margin} where "
        f"5 K are wanted) and the filler flows (surplus {surplus} where"
    )
    assert f"{pick.number('spread_K'):.0f} K apart" in quick.pause.why


def test_with_a_long_pause_the_order_no_longer_matters() -> None:
    found = compared("200 s")
    start = hottest(found)
    assert np.ptp(list(start.values())) < 2.0
    assert found.pause.same_starts
    assert "the order no longer matters" in found.pause.why.lower()


def test_peaks_round_the_ring_and_segments_agree(quick: Sequences) -> None:
    """The row's lists tell the same as its numbers."""
    for order in quick.pause.orders:
        ring, numbers = order.values("ring_peak_C"), order.values("numbers")
        assert max(ring) == pytest.approx(order.number("tube_peak_C"), abs=0.01)
        per = len(ring) // 8
        for number, peak in zip(numbers, order.values("segment_peak_C"), strict=True):
            mine = ring[(int(number) - 1) * per : int(number) * per]
            assert max(mine) == pytest.approx(peak, abs=0.01)
        assert sorted(numbers) == list(range(1, 9))
        assert max(order.values("start_C")) == pytest.approx(start_of(order), abs=0.01)


def start_of(order: Order) -> float:
    return order.number("hottest_start_C")


# --- ranking, with made-up rows ---


def made(
    name: str,
    spread: float = 10.0,
    total: float = 100.0,
    solid: bool = True,
    flows: bool = True,
    start: float = 100.0,
    peak: float = 1300.0,
) -> Order:
    base, filler = 12.0 if solid else -20.0, 15.0 if flows else -4.0
    row: Row = {
        **made_row(base, filler, total),
        "spread_K": spread,
        "hottest_start_C": start,
        "tube_peak_C": peak,
    }
    return Order(name, row)


def test_what_works_comes_before_what_is_even_or_quick() -> None:
    found = ranked(
        [made("melts", 1.0, 10.0, solid=False), made("dry", 0.0, 9.0, flows=False),
         made("neither", 0.0, 5.0, solid=False, flows=False), made("works", 50.0, 900.0),
         Order("broken", {"failed": "out of memory"})],
        "at equal pause",
    )  # fmt: skip
    assert [order.order for order in found.orders] == ["works", "dry", "melts", "neither", "broken"]
    assert found.pick is found.orders[0]
    assert "it is the only order that works" in found.why
    assert not found.same_starts


def test_evenness_decides_and_then_time() -> None:
    found = ranked([made("even", 10.0, 300.0), made("quick", 40.0, 100.0)], "at equal pause")
    assert found.pick is not None
    assert found.pick.order == "even"
    assert "10 K apart in 300 s, the most even; next comes quick with 40 K in 100 s" in found.why
    found = ranked([made("even", 10.0, 300.0), made("quick", 12.0, 100.0)], "at equal pause")
    assert found.pick is not None
    assert found.pick.order == "quick"
    assert "the quickest order within 5 K of the most even" in found.why


def test_nothing_works_is_said_and_nothing_picked() -> None:
    melts = made("hot", 30.0, solid=False)
    found = ranked([melts, made("both", 5.0, solid=False, flows=False)], "at equal pause")
    assert found.pick is None
    assert found.why.startswith(
        "No order works at equal pause: hot comes nearest; the base comes too close to melting "
        "(margin 30 K where 50 K are wanted), but the filler flows (surplus 25 K where 10 K are "
        "wanted); its segments' tube peaks are 30 K apart."
    )
    found = ranked([Order("one", {"failed": "out of memory"})], "at equal pause")
    assert found.pick is None
    assert found.why == "No order could be computed at equal pause: out of memory."


def test_margin_and_surplus_stand_in_file_table_and_figure(quick: Sequences) -> None:
    console = Console(width=400)
    with console.capture() as captured:
        console.print(told(quick))
    shown = captured.get().splitlines()
    drawn = chart_of(quick, quick.pause)
    assert drawn is not None
    orders = sequences_dict(quick)["orders"]
    for order, found, line in zip(orders, quick.pause.orders, drawn.lines, strict=True):
        margin, surplus = found.number("margin_K"), found.number("surplus_K")
        assert (order["margin_K"], order["surplus_K"]) == (margin, surplus)
        sides = (order[f"{side}_side_surplus_K"] for side in ("tube", "flange"))
        assert surplus == min(*sides, found.number("stretch_surplus_K"))
        numbers = ", ".join(str(segment["number"]) for segment in order["segments"])
        if not found.order.startswith("["):
            assert f"{found.order}: {numbers}" in [text.strip() for text in shown]
        row = next(text for text in shown if text.startswith(f"{found.order} "))
        cells = re.split(r"  +", row.strip())
        assert [round(float(cells[i].removesuffix(" K"))) for i in (2, 4)] == [
            round(margin), round(surplus)
        ]  # fmt: skip
        assert line.note.startswith(f"margin {margin:.0f} K, surplus {surplus:.0f} K, spread ")


def test_orders_alike_in_all_no_longer_matter() -> None:
    found = ranked([made("a"), made("b", 12.0, 100.0, start=104.0, peak=1302.0)], "at equal pause")
    assert (found.same_starts, found.same_peaks) == (True, True)
    assert found.why.endswith(
        "For starts and peaks the order no longer matters: in all of them the hottest starts at "
        "100 to 104 degC, and all peak alike."
    )
    apart = ranked([made("a"), made("b", start=130.0)], "at equal pause")
    assert not apart.same_starts
    assert "no longer matters" not in apart.why
    uneven = ranked([made("a"), made("b", 40.0)], "at equal pause")
    assert (uneven.same_starts, uneven.same_peaks) == (True, False)
    assert "up to 30 K in peak or spread" in uneven.why
    mixed = ranked([made("a"), made("b", flows=False)], "at equal pause")
    assert not mixed.same_starts


# --- which orders ---


def test_lists_of_orders_are_read() -> None:
    assert given_orders("") == ORDERS
    assert given_orders(" opposite ,[4, 2,3,1], in-turn,opposite") == (
        *("opposite", "[4, 2,3,1]", "in-turn"),
    )


@pytest.mark.parametrize(
    ("order", "told"),
    [
        ("oposite", "did you mean"),
        ("[1, 2, 9, 3]", "there is no segment 9"),
        ("[1, 2", "list of segment numbers"),
        ("[1, 2, 2, 3]", "segment 2 stands in it twice"),
    ],
)
def test_a_bad_order_is_refused_as_of_the_option(order: str, told: str) -> None:
    with pytest.raises(CaseError) as caught:
        trials_of(Source(BEAD, "bead.toml"), ("in-turn", *given_orders(order)), None)
    (fault,) = caught.value.faults
    assert (fault.file, fault.key, fault.given) == ("--orders", "travel.order", order)
    assert told in f"{fault.allowed} {fault.hint}"


def test_equal_interpass_needs_a_temperature() -> None:
    source = Source(BEAD, "bead.toml")
    with pytest.raises(CaseError, match="--equal-interpass"):
        trials_of(source, THREE, None, interpass=True)
    source = Source(BEAD, "bead.toml", ("travel.resume_below=150 degC",))
    for trial in trials_of(source, THREE, None, interpass=True):
        assert trial.case().travel.pause == 0.0
        assert trial.case().travel.resume_below == pytest.approx(423.15)


# --- the command ---


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Result folder of the command, run once."""
    where = tmp_path_factory.mktemp("sequences")
    (where / "bead.toml").write_text(BEAD, "utf-8")
    before = sys.argv
    sys.argv = [
        *("lapheat", "sequences", str(where / "bead.toml"), "--workers", "1"),
        *("--orders", "in-turn, [1, 3, 2, 4]", "--equal-interpass"),
        *("--set", "travel.resume_below=250 degC"),
    ]
    try:
        with pytest.raises(SystemExit) as left:
            main()
    finally:
        sys.argv = before
    assert not left.value.code
    return where / "bead.sequences"


def test_the_folder_holds_what_the_contract_names(folder: Path) -> None:
    files = sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file())
    drawn = ("sequences-interpass", "sequences")
    pictures = [f"figures/{name}.{end}" for name in drawn for end in ("png", "svg")]
    assert files == [*pictures, "rows.jsonl", "sequences.csv", "sequences.json"]
    told = json.loads((folder / "sequences.json").read_text("utf-8"))
    names = {order["order"] for order in told["orders"]}
    assert names == {"in-turn", "[1, 3, 2, 4]"}
    for order in told["orders"]:
        assert order["base_stays_solid"] is order["filler_flows"] is True
        peaks = [segment["tube_peak_C"] for segment in order["segments"]]
        assert order["spread_K"] == pytest.approx(max(peaks) - min(peaks), abs=0.01)
        assert order["tube_peak_C"] >= max(peaks) - 0.01
        starts = [segment["start_C"] for segment in order["segments"]]
        assert order["hottest_start_C"] == pytest.approx(max(starts), abs=0.01)
        assert order["total_s"] > 0.0
    assert told["pick"] in names
    assert told["pick"].capitalize() in told["why"]
    rows = list(csv.DictReader(io.StringIO((folder / "sequences.csv").read_text("utf-8"))))
    assert [(row["compared"], row["rank"]) for row in rows] == [
        *(("equal pause", "1"), ("equal pause", "2")),
        *(("equal interpass", "1"), ("equal interpass", "2")),
    ]
    first = told["orders"][0]
    assert rows[0]["order"] == first["order"]
    assert float(rows[0]["spread_K"]) == first["spread_K"]


def test_at_equal_interpass_every_order_waits_for_the_same(folder: Path) -> None:
    told = json.loads((folder / "sequences.json").read_text("utf-8"))
    equal = told["equal_interpass"]
    assert equal["resume_below_C"] == 250.0
    for order in equal["orders"]:
        assert order["hottest_start_C"] < 250.0
    times = {order["order"]: order["total_s"] for order in told["orders"]}
    shorter = {order["order"]: order["total_s"] for order in equal["orders"]}
    assert all(shorter[name] <= times[name] + 1e-9 for name in times)
    assert "start point below 250 degC" in equal["why"]


def test_json_is_the_same_from_python() -> None:
    source = Source(BEAD, "bead.toml")
    found = now(compare(source, ("in-turn", "backstep")))
    told = sequences_dict(found)
    assert json.loads(json.dumps(told, allow_nan=False)) == told
    assert "equal_interpass" not in told
    assert len(told["orders"]) == 2


def test_a_part_of_the_ring_is_told() -> None:
    found = now(compare(Source(BEAD, "bead.toml", ("travel.coverage=0.5",)), ("in-turn",)))
    (told_,) = found.notes
    assert told_.startswith("Only 50 % of the ring is run, as travel.coverage is below 1")
    assert sequences_dict(found)["notes"] == [told_]
    console = Console(width=400)
    with console.capture() as captured:
        console.print(told(found))
    assert told_ in captured.get()


def test_a_refused_order_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bead.toml").write_text(BEAD, "utf-8")
    case = str(tmp_path / "bead.toml")
    monkeypatch.setattr(sys, "argv", ["lapheat", "sequences", case, "--orders", "oposite"])
    with pytest.raises(SystemExit) as left:
        main()
    assert left.value.code == 2
    assert "travel.order" in capfd.readouterr().err
    assert [path.name for path in tmp_path.iterdir()] == ["bead.toml"]


# --- the figure ---


def chart(count: int, flow: float = 1298.15, units: Units | None = None) -> SequencesChart:
    ring = 1500.0 + 40.0 * np.sin(np.linspace(0.0, 6.28, 96))
    lines = [
        SequenceLine(
            name="opposite" if i == 0 else f"{[*range(1, 9)][i % 8 :]}",
            note="margin 24 K, surplus -30 K, spread 37 K, 390 s"
            + (", does not work" if i % 2 else ""),
            pick=i == 0,
            ring=ring + 12.0 * i,
            numbers=np.arange(1, 9, dtype=float),
            starts=300.0 + 20.0 * np.arange(8.0) + 3.0 * i,
        )
        for i in range(count)
    ]
    return SequencesChart("Stub", tuple(lines), 8, flow, 1673.15, units or Units("mm", "degC"))


@pytest.mark.parametrize("count", [1, 4, 9])
def test_the_figure_shows_every_order_twice(count: int) -> None:
    figure = sequences(chart(count))
    ring, starts = figure.axes
    drawn = [line for line in ring.lines if len(line.get_xdata()) == 96]
    assert len(drawn) == count
    marks = [line for line in starts.lines if line.get_marker() not in ("None", "")]
    assert [len(line.get_xdata()) for line in marks] == [8] * count
    assert ring.get_ylabel() == "peak temperature (°C)"
    assert [tick.get_text() for tick in starts.get_xticklabels()] == [str(n) for n in range(1, 9)]
    (legend,) = figure.legends
    texts = [text.get_text() for text in legend.get_texts()]
    assert texts[0].startswith("opposite (best): margin 24 K, surplus -30 K")
    assert len(texts) == count
    figure.draw_without_rendering()
    box = legend.get_window_extent()
    assert box.x0 >= 0.0
    assert box.x1 <= figure.bbox.x1
    looks = {(line.get_color(), line.get_linestyle()) for line in drawn}
    assert len(looks) == count  # none is drawn as another


def test_the_figure_takes_the_users_units_and_a_bead() -> None:
    ring, starts = sequences(chart(2, flow=float("nan"), units=Units("in", "degF"))).axes
    assert ring.get_ylabel() == "peak temperature (°F)"
    assert starts.get_ylabel() == "base at strike (°F)"
    assert ring.lines[0].get_ydata().max() == pytest.approx(1540.0 * 1.8 - 459.67, abs=1.0)
