"""The HTML report: whole, well formed, alone, with every number of the outcomes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, make_dataclass, replace
from functools import cache
from itertools import pairwise
from math import log10
from pathlib import Path
from typing import Any

import pytest

from lapheat.case.case import Display
from lapheat.case.file import case_to_toml, digest_of, resolved_rows
from lapheat.history.records import History
from lapheat.outcomes.convergence import Convergence, Estimate, Grid, Row
from lapheat.outcomes.from_history import outcomes_of
from lapheat.outcomes.outcomes import Verdict
from lapheat.outcomes.verdict import judge
from lapheat.report.document import report_html
from lapheat.report.document.tables import Cell, tables_of
from lapheat.report.sentences import CAUTIONS
from support.html import Page
from support.runs import run_with
from support.synthetic import STAINLESS_SOLIDUS

DAY = "2026-11-28"
HOSTILE = "<script>alert('1')</script> & \"co\""


def made(history: History, folder: Path, convergence: Convergence | None = None) -> str:
    picture = folder / "peaks.png"
    picture.write_bytes(b"png")
    return report_html(history, outcomes_of(history), [picture], DAY, convergence)


@cache
def demo() -> str:
    history = run_with()
    return report_html(history, outcomes_of(history), [], DAY)


def numbers(value: Any) -> Iterator[float]:
    """Every number in what `outcomes.json` holds, lists of angles aside."""
    if isinstance(value, dict):
        for item in value.values():
            yield from numbers(item)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for item in value:
            yield from numbers(item)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield value


def test_every_number_is_that_of_the_outcomes() -> None:
    page = Page(demo())
    exact = [float(a["value"] or "") for tag, a in page.tags if tag == "data"]
    shown = [float(text) for where, text in page.text if where == "data"]
    assert exact == pytest.approx(list(numbers(outcomes_of(run_with()).as_dict())), rel=1e-9)
    powers = [
        10.0 ** (3 * round(log10(s / e) / 3)) if e else 1.0
        for s, e in zip(shown, exact, strict=True)
    ]
    assert set(powers) == {1e-3, 1.0, 1e3}  # kJ; mm, g and l
    assert shown == pytest.approx([e * k for e, k in zip(exact, powers, strict=True)], rel=5e-5)


def test_the_page_tells_its_own_units_from_those_of_the_file() -> None:
    words = " ".join(Page(demo()).words().split())
    assert "temperatures in degC, angles in degrees, all else in SI" in words
    assert "The units beside the values are this page's" in words
    assert "strength_of" not in words


def test_values_are_in_the_users_units() -> None:
    outcomes = outcomes_of(run_with())
    assert outcomes.strength is not None
    outcomes = replace(outcomes, strength=replace(outcomes.strength, tube_yield_N=32e3))
    metric, imperial = (
        {
            (t.name, name): cells
            for t in tables_of(outcomes, Display(*units))
            for name, cells in t.rows
        }
        for units in (("mm", "degC"), ("in", "degF"))
    )
    peak = outcomes.tube.peak_C
    assert peak is not None
    assert metric["tube", "peak"][:2] == (Cell(f"{peak:.5g}", f"{peak:.10g}"), Cell("degC"))
    for place, value, unit in (
        (("tube", "peak"), 1.8 * peak + 32.0, "degF"),
        (("tube", "margin"), 1.8 * (outcomes.tube.margin_K or 0.0), "degF"),
        (("tube", "peak_position"), outcomes.tube.peak_position_m / 0.0254, "in"),
        (("supplies", "rod"), outcomes.supplies.rod_m / 0.0254, "in"),
        (("supplies", "feed"), outcomes.supplies.feed_m_s / 0.0254 * 60.0, "in/min"),
        (("supplies", "argon"), outcomes.supplies.argon_m3 / 0.3048**3, "ft^3"),
        (("supplies", "filler"), outcomes.supplies.filler_kg / 0.45359237 * 16.0, "oz"),
        (("strength", "tube_yield"), 32e3 / 4.4482216152605, "lbf"),
    ):
        shown, its, *_ = imperial[place]
        assert float(shown.text) == pytest.approx(value, rel=5e-5)
        assert its == Cell(unit)


def test_angles_are_read_within_a_turn() -> None:
    outcomes = outcomes_of(run_with())
    filler = outcomes.filler
    assert filler is not None
    far = replace(filler, peak_angle_deg=-10.0, tube_side_dry_deg=((350.0, 372.5), (20.0, 360.0)))
    (table,) = (
        t for t in tables_of(replace(outcomes, filler=far), Display()) if t.name == "filler"
    )
    rows = dict(table.rows)
    assert rows["peak_angle"][0] == Cell("350", "-10")
    assert rows["tube_side_dry"][0].text == "350 to 12.5; 20 to 360"


def test_a_new_record_shows_by_itself() -> None:
    @dataclass(frozen=True)
    class Wear:
        """How worn it is.

        Attributes
        ----------
        depth_m : of the groove;
            at its deepest
        force_N : what presses
        worn : whether it is worn
        """

        depth_m: float
        force_N: float  # noqa: N815
        worn: bool

    outcomes = outcomes_of(run_with())
    wider = make_dataclass(
        "Wider", [(f.name, Any) for f in fields(outcomes)] + [("wear", Any)], frozen=True
    )
    more = wider(*(getattr(outcomes, f.name) for f in fields(outcomes)), Wear(2e-3, 5.0, True))
    table = list(tables_of(more, Display()))[-1]
    assert (table.name, table.about) == ("wear", "How worn it is.")
    assert [(name, [cell.text for cell in cells]) for name, cells in table.rows] == [
        ("depth", ["2", "mm", "of the groove; at its deepest"]),
        ("force", ["5", "N", "what presses"]),
        ("worn", ["yes", "", "whether it is worn"]),
    ]


def test_every_field_of_a_record_with_attributes_has_a_meaning() -> None:
    outcomes = outcomes_of(run_with())
    told = [t for t in tables_of(outcomes, Display()) if "meaning" in t.heads]
    assert {table.name for table in told} == {"filler", "soundness", "strength", "supplies"}
    assert [(t.name, name) for t in told for name, cells in t.rows if not cells[2].text] == []


def test_counts_are_whole() -> None:
    outcomes = outcomes_of(run_with())
    many = replace(outcomes, mesh=replace(outcomes.mesh, cells=312345))
    (mesh,) = (table for table in tables_of(many, Display()) if table.name == "mesh")
    assert dict(mesh.rows)["cells"][0] == Cell("312345", "312345")


def test_every_record_of_the_outcomes_has_a_table() -> None:
    outcomes = outcomes_of(run_with())
    names = {table.name for table in tables_of(outcomes, Display())}
    there = {f.name for f in fields(outcomes) if getattr(outcomes, f.name) is not None}
    assert names == there - {"verdict", "alloys"}
    assert is_dataclass(outcomes.tube)


def test_it_asks_for_nothing_from_elsewhere(tmp_path: Path) -> None:
    text = made(run_with(), tmp_path)
    page = Page(text)
    assert {tag for tag, _ in page.tags}.isdisjoint({"script", "link", "iframe", "object", "base"})
    links = [a.get(n) for _, a in page.tags for n in ("src", "href", "action") if a.get(n)]
    assert links == ["data:image/png;base64,cG5n"]
    assert not any(word in text for word in ("http:", "https:", "//", "@import", "url("))


def test_a_title_of_markup_stays_text(tmp_path: Path) -> None:
    history = run_with()
    case = history.case
    steel = case.alloys["304L"]
    case = replace(
        case,
        title=HOSTILE,
        file=f"/somewhere/{HOSTILE.replace('/', ' ')}.toml",
        tube=replace(case.tube, alloy=HOSTILE),
        alloys={**case.alloys, HOSTILE: steel},
        probes=tuple(replace(probe, name=f"<b>{probe.name}") for probe in case.probes),
        assumed=("<i>taken</i> for granted",),
        written={"title": HOSTILE},
    )
    page = Page(made(replace(history, case=case), tmp_path))
    assert {"script", "b", "i"}.isdisjoint({tag for tag, _ in page.tags})
    assert page.words("h1") == HOSTILE
    assert HOSTILE in page.words("title")
    assert HOSTILE in page.words("h3")
    assert "<b>T1" in page.words("th")
    assert "<i>taken</i> for granted" in page.words("li")


def test_a_title_that_would_steer_a_terminal_is_shown(tmp_path: Path) -> None:
    history = run_with()
    case = replace(history.case, title="a\x1b[2Jb\u202ec")
    page = Page(made(replace(history, case=case), tmp_path))
    assert page.words("h1") == "a\\u001b[2Jb\\u202ec"


def test_verdict_comes_first_and_cautions_last() -> None:
    page = Page(demo())
    words = page.words()
    assert words.index("Works:") < words.index("Figures") < words.index("Numbers")
    assert all(caution in page.words("li") for caution in CAUTIONS)
    failed = Page(report_html((h := run_with(1800.0)), outcomes_of(h), [], DAY)).words()
    assert "Does not work: base stays solid: no; filler flows: yes." in failed


@pytest.mark.parametrize(
    ("margin", "says"), [(57.0, "Too close to call"), (-750.0, "Does not work")]
)
def test_a_sure_fault_is_not_too_close_to_call(margin: float, says: str) -> None:
    run = run_with(tube=STAINLESS_SOLIDUS - margin, flange=1200.0)
    unsure = {"tube.margin_K": 10.4, "filler.flange_side_surplus_K": 71.0}
    outcomes = outcomes_of(run)
    outcomes = replace(outcomes, verdict=Verdict.of(judge(run, uncertainty=unsure)))
    assert outcomes.verdict.too_close
    words = Page(report_html(run, outcomes, [], DAY)).words("strong")
    assert words == f"{says}:"


def test_the_case_is_whole_with_sources_of_what_was_not_given() -> None:
    history = run_with()
    page = Page(demo())
    (toml,) = (data for where, data in page.text if where == "pre")
    assert toml == case_to_toml(history.case).strip()
    rows = page.words("th").split()
    assert all(key in rows for key, *_ in resolved_rows(history.case))
    assert "in-turn: 1, 2, 3, 4, 5, 6, 7, 8" in page.words("td")
    assert "low end of the furnace rule of AWS A5.8, from memory" in page.words("td")
    for told in (DAY, digest_of(history.case), "synthetic", "numba", "coarse"):
        assert told in page.words()


def test_it_can_be_read_without_eyes() -> None:
    page = Page(demo())
    tags = [tag for tag, _ in page.tags]
    assert dict(page.tags)["html"] == {"lang": "en"}
    assert (tags.count("main"), tags.count("h1"), tags.count("title")) == (1, 1, 1)
    assert all(a.get("scope") in ("row", "col") for tag, a in page.tags if tag == "th")
    levels = [int(tag[1]) for tag in tags if tag in ("h1", "h2", "h3")]
    assert all(b - a <= 1 for a, b in pairwise(levels))
    ids = [a["id"] for _, a in page.tags if "id" in a]
    assert len(ids) == len(set(ids))


def test_pictures_are_within_and_told(tmp_path: Path) -> None:
    page = Page(made(run_with(), tmp_path))
    (picture,) = (a for tag, a in page.tags if tag == "img")
    assert (
        picture["alt"]
        == "Peak temperature of each surface over the whole run, unrolled round the ring."
    )


def test_uncertainty_is_there_where_it_was_computed(tmp_path: Path) -> None:
    assert "Not computed in this run" in Page(demo()).words("p")
    grids = tuple(Grid(d, s, c, 9) for d, s, c in (("coarse", 4e-4, 10), ("fine", 1e-4, 99)))
    row = Row(
        "tube.margin_K",
        "tube margin",
        "K",
        (40.0, 48.0),
        41.0,
        Estimate(48.0, 3.0, "converging", 1.9),
    )
    words = Page(made(run_with(), tmp_path, Convergence(grids, (row,)))).words()
    assert "tube margin 40 48 1.9 1 4 K" in words
    assert "fine, 99 cells" in words


def test_outcomes_of_a_bead_have_no_flange(tmp_path: Path) -> None:
    history = run_with(bead=True)
    page = Page(made(history, tmp_path))
    ids = [a["id"] for tag, a in page.tags if tag == "h3" and "id" in a]
    assert "tube" in ids
    assert {"flange", "filler", "strength"}.isdisjoint(ids)
    assert set(json.loads(json.dumps(outcomes_of(history).as_dict()))) - {
        "verdict",
        "alloys",
    } == set(ids)
