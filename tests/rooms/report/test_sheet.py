"""The bench sheet: what it says, and that nothing collides, is cut or is too small to read."""

from __future__ import annotations

import json
import re
import zlib
from dataclasses import replace
from functools import cache
from io import BytesIO
from itertools import combinations
from math import pi
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.figure import Figure
from matplotlib.image import imread

from lapheat.case.case import Case, Chill, Display, Fixture, Tack
from lapheat.case.file import case_to_toml, read_case, read_case_text
from lapheat.history.records import History
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Outcomes, Verdict
from lapheat.outcomes.verdict import judge
from lapheat.report.figures.style import RC
from lapheat.report.sentences import CAUTIONS
from lapheat.report.sheet import save_sheet, sheet
from lapheat.report.sheet.compose import OPTIONS
from lapheat.report.sheet.values import counts
from support.runs import run_with
from support.synthetic import PROBES, STAINLESS_SOLIDUS, make_case

ROOT = Path(__file__).parents[3]
DAY = "2026-11-28"


def _crowded() -> tuple[History, Outcomes]:
    """A run of forty segments, many probes, tacks, a chill, long names and much that fails."""
    many = tuple(replace(PROBES[0], name=f"a long name {n}", angle=0.1 * n) for n in range(12))
    run = run_with(
        1800.0, 1700.0, tube_dry=((0.0, 200.0, 1200.0),), flange_dry=((9.0, 99.0, 900.0),)
    )
    case, outcomes = run.case, outcomes_of(run)
    chill = Chill("copper", 20e-3, 6e-3, 1000.0)
    alloys = {**case.alloys, "copper": case.alloys["304L"]}
    assumed = tuple(
        f"Sentence {n} of what was taken for granted, at some length." for n in range(20)
    )
    case = replace(
        case,
        title="A title that is far too long for its line and goes on and on " * 3,
        probes=many,
        tacks=(Tack(0.5, 4e-3), Tack(2.5, 4e-3)),
        fixture=Fixture(chill),
        alloys=alloys,
        assumed=assumed,
    )
    runs = tuple(
        replace(
            run.segments[n % 8], number=n + 1, from_angle=n * pi / 20, to_angle=(n + 1) * pi / 20
        )
        for n in range(40)
    )
    travel = replace(case.travel, segment=case.tube.circumference / 40)
    return replace(run, case=replace(case, travel=travel), segments=runs), outcomes


def _joint(**parts: dict[str, float]) -> History:
    """Return a run whose case has other sizes: `tube={"wall": 1e-3}`."""
    case = run_with().case
    changed = {name: replace(getattr(case, name), **sizes) for name, sizes in parts.items()}
    return run_with(case=changed)


VARIANTS = {
    "demo": lambda: run_with(),
    "inches": lambda: run_with(display=Display("in", "degF")),
    "bead": lambda: run_with(bead=True, coverage=0.6),
    "fails": lambda: run_with(1800.0, 1700.0, tube_dry=((0.0, 200.0, 1200.0),)),
    "crowded": _crowded,
    "thick": lambda: _joint(
        tube={"wall": 6e-3}, flange={"thickness": 40e-3}, lap={"depth": 5e-3}, fillet={"leg": 12e-3}
    ),
    "fine": lambda: _joint(
        tube={"wall": 0.3e-3},
        flange={"thickness": 0.5e-3},
        lap={"depth": 0.5e-3},
        fillet={"leg": 0.6e-3},
    ),
    "aimed out": lambda: _joint(arc={"aim": 6e-3, "work_angle": 0.2}),
    "aimed in": lambda: _joint(arc={"aim": -2e-3, "work_angle": 1.4, "length": 2e-3}),
}


@cache
def drawn(variant: str, paper: str = "sheet") -> tuple[History, Figure]:
    made = VARIANTS[variant]()
    history, outcomes = made if isinstance(made, tuple) else (made, outcomes_of(made))
    with matplotlib.rc_context(RC):
        return history, sheet(history, outcomes, DAY, paper)


def texts(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.axes[0].texts if text.get_text()]


def told(variant: str, paper: str = "sheet") -> str:
    return " ".join(texts(drawn(variant, paper)[1]))


# US letter is the shorter paper
PAGES = [*((v, "sheet-letter") for v in VARIANTS), ("demo", "sheet"), ("crowded", "sheet")]


@pytest.mark.parametrize(("variant", "paper"), PAGES)
def test_no_text_is_small_or_cut_or_covers_another(variant: str, paper: str) -> None:
    _, figure = drawn(variant, paper)
    shown = [text for text in figure.axes[0].texts if text.get_text()]
    assert min(text.get_fontsize() for text in shown) >= 9.0
    margin = figure.dpi * 9.5 / 25.4
    width, height = figure.bbox.size
    boxes = {text: text.get_window_extent().padded(-1.0) for text in shown}
    for text, box in boxes.items():
        inside = min(box.x0, box.y0, width - box.x1, height - box.y1) > margin
        assert inside, f"{text.get_text()!r} is cut: {box}"
    for (one, a), (other, b) in combinations(boxes.items(), 2):
        assert not a.overlaps(b), f"{one.get_text()!r} covers {other.get_text()!r}"


@pytest.mark.parametrize("variant", VARIANTS)
def test_every_caution_is_there_in_full(variant: str) -> None:
    words = told(variant, "sheet-letter").replace("  ", " ")
    for caution in CAUTIONS:
        assert all(word in words for word in caution.split())
    assert words.count("•") >= len(CAUTIONS)


@pytest.mark.parametrize(
    ("variant", "answer"),
    [
        ("demo", "BASE STAYS SOLID, FILLER FLOWS"),
        ("bead", "BASE STAYS SOLID"),
        ("fails", "BASE TOO HOT, FILLER FAILS"),
    ],
)
def test_the_verdict_is_in_a_few_words(variant: str, answer: str) -> None:
    assert f"Verdict: {answer}" in texts(drawn(variant)[1])


def test_a_wall_that_melts_through_can_burn_through() -> None:
    run = run_with(tube=STAINLESS_SOLIDUS + 300.0, flange=1500.0, melted=1.0)
    with matplotlib.rc_context(RC):
        said = texts(sheet(run, outcomes_of(run), DAY))
    assert "Verdict: TUBE CAN BURN THROUGH, FILLER FLOWS" in said


@pytest.mark.parametrize(("variant", "melts"), [("demo", False), ("bead", False), ("fails", True)])
def test_settings_that_melt_the_base_are_forbidden(variant: str, melts: bool) -> None:
    said = texts(drawn(variant)[1])
    assert ("DO NOT BRAZE WITH THESE SETTINGS" in said) == melts
    assert ("Set" in said) != melts
    assert any("A count is one second." in line for line in said)


@pytest.mark.parametrize(
    ("margin", "answer"), [(57.0, "TOO CLOSE TO CALL"), (-750.0, "BASE TOO HOT, FILLER FAILS")]
)
def test_a_sure_fault_is_not_too_close_to_call(margin: float, answer: str) -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - margin, flange=1200.0)
    unsure = {"tube.margin_K": 10.4, "filler.flange_side_surplus_K": 71.0}
    outcomes = outcomes_of(run)
    outcomes = replace(outcomes, verdict=Verdict.of(judge(run, uncertainty=unsure)))
    assert outcomes.verdict.too_close
    with matplotlib.rc_context(RC):
        assert f"Verdict: {answer}" in texts(sheet(run, outcomes, DAY))


def test_units_are_the_users() -> None:
    said = told("inches")
    assert "0.065 in" in said
    assert "degF" in said
    rest = re.sub(r"\(?[-0-9.]+ (mm|degC)( \([-0-9.]+ (in|degF)\))?", "", said)
    assert "mm" not in rest  # in sentences degC and mm have the user's units in brackets
    assert "degC" not in rest.partition("Cautions")[0]


def test_order_is_told_number_by_number_and_drawn() -> None:
    case = make_case(segments=6)
    case = replace(case, travel=replace(case.travel, order=(1, 4, 2, 5, 3, 6)))
    runs = tuple(
        replace(run, number=number)
        for run, number in zip(run_with().segments, (1, 4, 2, 5, 3, 6), strict=False)
    )
    history = run_with()
    with matplotlib.rc_context(RC):
        figure = sheet(replace(history, case=case, segments=runs), outcomes_of(history), DAY)
    assert "by segment number: 1, 4, 2, 5, 3, 6." in " ".join(texts(figure))
    placed = {t.get_text(): np.array(t.get_position()) for t in figure.axes[0].texts}
    ring = {
        t.get_text(): np.array(t.get_position())
        for t in figure.axes[0].texts
        if t.get_ha() == "center" and t.get_weight() == "bold"
    }
    for turn, number in enumerate((1, 4, 2, 5, 3, 6), start=1):
        apart = np.linalg.norm(ring[str(turn)] - placed[f"s{number}"])
        others = [np.linalg.norm(ring[str(turn)] - placed[f"s{n}"]) for n in range(1, 7)]
        assert apart == min(others)


def test_numbers_of_the_ring_keep_off_its_lines() -> None:
    """The digits of each of 13, some 0.73 of their size high, lie inside one segment."""
    history, count = run_with(), 13
    case = history.case
    case = replace(case, travel=replace(case.travel, segment=case.tube.circumference / count))
    runs = tuple(replace(history.segments[0], number=n + 1) for n in range(count))
    with matplotlib.rc_context(RC):
        figure = sheet(replace(history, case=case, segments=runs), outcomes_of(history), DAY)
    axes = figure.axes[0]
    paths = [p.get_transform().transform_path(p.get_path()) for p in axes.patches]
    numbers = [t for t in axes.texts if t.get_text().isdigit() and t.get_ha() == "center"]
    assert len(numbers) == count
    for text in numbers:
        box, low = text.get_window_extent(), axes.transData.transform(text.get_position())[1]
        high = low + 0.73 * text.get_fontsize() * figure.dpi / 72.0
        corners = [(x, y) for x in (box.x0, box.x1) for y in (low, high)]
        assert any(path.contains_points(corners).all() for path in paths), text.get_text()


def test_drawing_is_to_the_scale_it_names() -> None:
    """The wall between its two dimension heads, on paper."""
    history, figure = drawn("thick")
    (title,) = (t for t in texts(figure) if t.startswith("Section to scale"))
    one, other = re.search(r"scale (\S+) : (\S+),", title).groups()
    points = 72.0 * history.case.tube.wall / 0.0254 * float(one) / float(other)
    widths = [np.ptp(p.get_xy()[:, 0]) for p in figure.axes[0].patches if p.get_hatch() == "///"]
    assert widths == [pytest.approx(points, rel=1e-6)]


def _read(content: bytes) -> list[str]:
    """Text of a PDF as matplotlib writes it, string by string, by its fonts' ToUnicode maps."""
    objects = {int(n): body for n, body in re.findall(rb"(\d+) 0 obj\n(.*?)endobj", content, re.S)}

    def stream(number: int) -> bytes:
        raw = objects[number].partition(b"stream\n")[2].rpartition(b"\nendstream")[0]
        return zlib.decompress(raw) if b"FlateDecode" in objects[number] else raw

    letters: dict[bytes, dict[int, str]] = {}
    fonts = next(body for body in objects.values() if re.match(rb"<< /F\d+ ", body))
    for name, number in re.findall(rb"/(F\d+) (\d+) 0 R", fonts):
        table = stream(int(re.search(rb"/ToUnicode (\d+)", objects[int(number)])[1]))
        letters[name] = {}
        for low, codes in re.findall(rb"<(\w+)> <\w+> \[(.*?)\]", table):
            for step, code in enumerate(re.findall(rb"<(\w+)>", codes)):
                text = bytes.fromhex(code.decode()).decode("utf-16-be")
                letters[name][int(low, 16) + step] = text
    page = next(
        stream(n) for n, body in objects.items() if b"stream" in body and b"BT" in stream(n)
    )
    said = []
    for block in re.findall(rb"BT(.*?)ET", page, re.S):
        line, font = "", b""
        tokens = rb"/(F\d+) |\(((?:\\.|[^\\)])*)\)"
        for name, string in re.findall(tokens, block, re.S):
            if name:
                font = name
                continue
            plain = re.sub(rb"\\(\d{3})", lambda m: bytes([int(m[1], 8)]), string)
            plain = re.sub(rb"\\n", b"\n", plain)
            plain = re.sub(rb"\\r", b"\r", plain)
            plain = re.sub(rb"\\(.)", rb"\1", plain)
            line += "".join(letters[font][code] for code in plain)
        said.append(line)
    return said


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sheet")
    history = run_with()
    assert [p.name for p in save_sheet(history, outcomes_of(history), folder, DAY)] == [
        "sheet.pdf",
        "sheet.png",
        "sheet-letter.pdf",
    ]
    return folder


@pytest.mark.parametrize(
    ("paper", "size"), [("sheet", (595.28, 841.89)), ("sheet-letter", (612, 792))]
)
def test_pdf_is_one_page_of_its_paper_with_its_text(
    saved: Path, paper: str, size: tuple[float, float]
) -> None:
    content = (saved / f"{paper}.pdf").read_bytes()
    assert len(re.findall(rb"/Type /Page\b", content)) == 1
    (box,) = re.findall(rb"/MediaBox \[ 0 0 (\S+) (\S+) \]", content)
    assert [float(n) for n in box] == [pytest.approx(n, abs=0.01) for n in size]
    said = _read(content)
    assert sorted(said) == sorted(texts(drawn("demo", paper)[1]))
    assert DAY in said[1] or any(DAY in line for line in said)


def test_numbers_in_the_pdf_are_those_of_outcomes_json(saved: Path) -> None:
    lines = _read((saved / "sheet.pdf").read_bytes())
    said = " ".join(" ".join(lines).split())
    told = json.loads(json.dumps(outcomes_of(run_with()).as_dict()))
    tube, flange, filler = told["tube"], told["flange"], told["filler"]
    surplus = min(filler["tube_side_surplus_K"], filler["flange_side_surplus_K"])
    shown = {
        r"closest to melting, (\d+) K below": tube["margin_K"],
        r"its solidus of (\d+) degC": tube["solidus_C"],
        r"under the filler peaks (\d+) K": surplus,
        r"filler's flow at (\d+) degC": filler["flow_C"],
        r"wets ([\d.]+) % of the tube": 100.0 * filler["tube_side_wet"],
        r"([\d.]+) % of the flange side": 100.0 * filler["flange_side_wet"],
        r"Hottest tube (\d+) degC": tube["peak_C"],
        r"Hottest tube \d+ degC at (\d+) deg": tube["peak_angle_deg"],
        r", flange (\d+) degC at": flange["peak_C"],
        r", flange \d+ degC at (\d+) deg": flange["peak_angle_deg"],
        r", ([\d.]+) mm of it, fed": 1e3 * told["supplies"]["rod_m"],
        r"fed at ([\d.]+) mm/s": 1e3 * told["supplies"]["feed_m_s"],
        r"mesh, (\d+) cells": told["mesh"]["cells"],
    }
    for name, probe in told["probes"].items():
        shown[rf"Thermocouple {name}: at most (\d+) degC"] = probe["peak_C"]
        shown[rf"Thermocouple {name}: .*?, at (\d+) s"] = probe["peak_s"]
    for pattern, value in shown.items():
        found = re.search(pattern, said)
        assert found is not None, pattern
        half = 0.501 * 10.0 ** -len(found[1].partition(".")[2])  # of the last digit
        assert float(found[1]) == pytest.approx(value, abs=half, rel=5e-3 * ("." in found[1]))
    fours = list(zip(*(lines[n:] for n in range(4)), strict=False))
    before = None
    for turn, s in enumerate(told["segments"], start=1):
        pause = "-" if before is None else f"{s['start_s'] - before:.0f} s"
        assert (f"{turn}", f"{s['number']}", pause, f"{s['start_C']:.0f} degC") in fours
        before = s["end_s"]


def test_png_is_black_and_white(saved: Path) -> None:
    picture = imread(saved / "sheet.png")
    assert picture.shape[:2] == (1753, 1240)
    assert np.ptp(picture[..., :3], axis=2).max() == 0.0
    assert (picture[..., 0] > 0.99).mean() > 0.7


def test_the_same_day_gives_the_same_bytes(saved: Path, tmp_path: Path) -> None:
    history = run_with()
    for path in save_sheet(history, outcomes_of(history), tmp_path, DAY):
        assert path.read_bytes() == (saved / path.name).read_bytes()


def _from_file(case: Case) -> list[str]:
    """Text of the PDF sheet of a case that was read from a file, with the run of another."""
    history, content = run_with(bead=case.flange is None), BytesIO()
    with matplotlib.rc_context(RC | OPTIONS):
        figure = sheet(replace(history, case=case), outcomes_of(history), DAY)
        FigureCanvasPdf(figure).print_pdf(content)
    return _read(content.getvalue())


@pytest.mark.parametrize(
    "name", ["flue-stub", "flue-stub-cold", "flue-stub-joint", "thin-sleeve", "test-bead"]
)
def test_the_case_can_be_written_again_from_the_sheet(name: str) -> None:
    """Every setting of the file is there as it was written."""
    case = read_case(ROOT / f"cases/{name}.toml")
    words = " ".join(_from_file(case)).replace(" • ", " ")
    missing = [
        f"{key} = {text}"
        for key, text in case.written.items()
        if text.strip('"') not in words and key != "joint"
    ]
    assert missing == []


def test_defaults_have_a_star_and_what_is_given_has_none() -> None:
    said = _from_file(read_case(ROOT / "cases/flue-stub.toml"))
    assert "0.004 in*" in said  # 0.1 mm, of lap.clearance
    assert "0.065 in" in said
    assert any("* is Lapheat's default." in line for line in said)


def test_tacks_say_where_they_are_and_how_an_arc_lays_them() -> None:
    text = (ROOT / "cases/flue-stub.toml").read_text("utf-8")
    text += '[[tack]]\nangle = "45 deg"\nlength = "4 mm"\n'
    text += '[[tack]]\nangle = "225 deg"\nlength = "5 mm"\ncurrent = "50 A"\ntime = "2 s"\n'
    words = " ".join(_from_file(read_case_text(text, "a.toml")))
    assert (
        "Tacks at 45 deg, 4 mm long; at 225 deg, 5 mm long, laid first by 50 A for 2 s. Order"
        in words
    )
    assert "Black: tacks." in words
    assert "tack[" not in words


def test_a_case_that_was_written_out_says_that_defaults_have_no_star() -> None:
    case = read_case(ROOT / "cases/flue-stub.toml")
    given, written = (
        " ".join(_from_file(c)).replace("  ", " ")
        for c in (case, read_case_text(case_to_toml(case), "a.toml"))
    )
    unmarked = "The file gives every key: Lapheat's defaults may stand among them without a star."
    assert unmarked not in given
    assert unmarked in written
    assert "* is Lapheat's default" not in written
    assert "the pedal, 24 A to 104 A, then holds" in written


def test_a_resolved_case_sets_besides_only_what_is_no_default() -> None:
    text = (ROOT / "cases/flue-stub.toml").read_text("utf-8")
    films = ("surroundings.convection=12 W/(m^2 K)", "surroundings.bore_convection=5 W/(m^2 K)")
    words = " ".join(_from_file(read_case_text(text, "a.toml", films)))
    assert "surroundings: convection 12 W/(m^2 K)" in words
    assert "bore_convection" not in words
    # the default of the spot's scatter follows from the arc's length
    found = read_case_text(text.replace('spot = "2 mm"', 'length = "3 mm"'), "a.toml")
    for spread, also in (("0.25", ""), ("0.3", "scatter: spot 0.3")):
        case = read_case_text(case_to_toml(found), "a.toml", (f"scatter.spot={spread}",))
        told = " ".join(_from_file(case)).replace("  ", " ")
        assert also in told
        assert ("scatter" in told) is bool(also)


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(4.0, "4 counts"), (1.04, "1 count"), (5.6, "5.6 counts"), (0.3, "0.3 counts")],
)
def test_seconds_are_counted(seconds: float, said: str) -> None:
    assert counts(seconds) == said
