"""Runs side by side: what differs, how sure that is, which is better, and the files of it."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console

from invariance.small import SMALL, run, text_of
from lapheat.api import Result
from lapheat.case.case import Display
from lapheat.case.file import CaseError, case_to_toml
from lapheat.cli.compare import _size, _told
from lapheat.outcomes.from_history import outcomes_of
from lapheat.report.document.tables import plain
from lapheat.report.folder import write_json
from lapheat.study.compare.compare import Comparison, compare_runs, deciding_of
from lapheat.study.compare.entries import Entry, of_folder, of_result
from lapheat.study.compare.figure import overlaid
from lapheat.study.compare.files import compare_csv, compare_dict, write_compare
from lapheat.study.compare.page import compare_html
from lapheat.study.compare.told import change_told, settings_told
from support.html import Page
from support.runs import run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS


def entry(name: str, peak: float = 150.0, seconds: float = 100.0, **dry: Any) -> Entry:
    """Made-up run: its tube `peak` K below solidus, its total time, dry where told."""
    history = run_with(STAINLESS_SOLIDUS - peak, **dry)
    history = replace(history, total=seconds, simulated=2.0 * seconds)
    return of_result(Result(history.case, history, outcomes_of(history)), f"{name}.toml")


def why(*entries: Entry) -> tuple[str | None, str]:
    found = compare_runs(entries)
    return (None if found.pick is None else found.pick.name), found.why


DRY: dict[str, Any] = {"tube_dry": ((0.0, 90.0, 1200.0),)}


# ---- which is better --------------------------------------------------------------------------


def test_what_works_is_better_than_what_is_quicker() -> None:
    name, told = why(entry("cold", seconds=50.0, **DRY), entry("good"))
    assert name == "good"
    assert told.startswith("good is better: it alone works; ")


def test_a_mesh_is_never_better_than_another() -> None:
    near, far = entry("near", 60.0), entry("far", 100.0)
    assert near.case.detail != "fine"
    finer = replace(
        near,
        case=replace(near.case, detail="fine"),
        told=near.told | {"mesh": {**near.told["mesh"], "detail": "fine"}},
    )
    found = compare_runs([far, finer])
    assert found.pick is None
    assert found.why == "None is better: their settings are the same but for the mesh"
    assert any("fine): each difference comes from that." in note for note in found.notes)
    other = finer.told | {"versions": {"lapheat": "0.0.0"}}
    notes = compare_runs([far, replace(finer, told=other)]).notes
    assert any("fine): part of each difference comes from that." in note for note in notes)
    cold = compare_runs([entry("cold", **DRY), finer])
    assert cold.why.endswith("mesh; their verdicts differ, so trust that of the finest")
    quicker = replace(finer, case=replace(finer.case, title="Other"))
    assert compare_runs([far, quicker]).pick is None  # a title sets nothing


def test_of_two_that_work_the_one_further_from_its_nearest_limit_is_better() -> None:
    # 50 K of margin are wanted: 10 K to spare against 50
    name, told = why(entry("near", 60.0, seconds=80.0), entry("far", 100.0))
    assert name == "far"
    assert "it keeps 40 K more than near from its nearest limit" in told
    assert "it takes 20 s longer" in told


def test_of_two_as_safe_the_quicker_is_better() -> None:
    name, told = why(entry("slow", 64.0, seconds=90.0), entry("quick", 61.0, seconds=80.0))
    assert name == "quick"
    assert told == (
        "quick is better: both work, slow and quick are as far from their limits, within 5 K, "
        "and it is 10 s quicker"
    )


def test_the_picture_names_what_is_nearest_to_its_limit() -> None:
    near, far = entry("near", 60.0), entry("far", 100.0)
    hot = replace(near, told=near.told | {"flange": {**near.told["flange"], "margin_K": 52.0}})
    assert deciding_of(near) == "tube margin 60 K"
    assert deciding_of(hot) == "flange margin 52 K"
    assert deciding_of(unmeltable("bare", 80.0)) is None
    told = [text.get_text() for text in overlaid(compare_runs([hot, far])).legends[0].get_texts()]
    assert told[0].split(": ")[1] == "works, flange margin 52 K, 100 s"


def test_shares_differ_by_percentage_points() -> None:
    assert _size(0.019, "") == "1.9 points"
    assert _size(-13.8, "K") == "-13.8 K"


def unmeltable(name: str, seconds: float) -> Entry:
    """Made-up bead on an alloy that never melts: it has no limit to miss."""
    one = entry(name, seconds=seconds)
    told = {key: value for key, value in one.told.items() if key not in ("flange", "filler")}
    return replace(one, told=told | {"tube": {**told["tube"], "margin_K": None}})


def test_a_run_that_cannot_fail_is_further_from_its_limits_than_any_other() -> None:
    name, told = why(unmeltable("never", 120.0), entry("far", 100.0))
    assert name == "never"
    assert told == "never is better: both work, and nothing in it can melt; it takes 20 s longer"
    assert why(entry("near", 60.0), entry("far", 100.0), unmeltable("never", 120.0))[0] == "never"


def test_of_two_that_cannot_fail_the_quicker_is_better() -> None:
    assert why(unmeltable("slow", 90.0), unmeltable("quick", 80.0), entry("far"))[0] == "quick"


def test_an_uncertain_margin_does_not_decide() -> None:
    near, far = entry("near", 60.0, seconds=80.0), entry("far", 100.0)
    unsure = [replace(one, uncertainty={"tube.margin_K": 25.0}) for one in (near, far)]
    assert why(*unsure)[0] == "near"  # 40 K apart, 50 K uncertain: the quicker


def test_a_run_compared_with_itself_is_no_better() -> None:
    found = compare_runs((entry("same"), entry("same")))
    assert found.pick is None
    assert found.why.startswith("None is better: both work")
    assert [each.name for each in found.entries] == ["same", "same (2)"]
    assert found.settings == ()
    assert not [row.name for row in found.outcomes if row.differs]


def test_a_run_that_cannot_fail_is_farther_from_its_limits_than_any() -> None:
    never = entry("never", seconds=120.0)
    told = {table: values for table, values in never.told.items() if table != "filler"}
    told |= {part: {**told[part], "margin_K": None} for part in ("tube", "flange")}
    never = replace(never, told=told)
    for runs in ((never, entry("near")), (entry("near"), never)):
        assert why(*runs) == (
            "never",
            "never is better: both work, and nothing in it can melt; it takes 20 s longer",
        )
    name, told_why = why(never, replace(never, name="alike", told=told))
    assert name is None
    assert told_why.startswith("None is better: both work")


def test_where_none_works_the_nearest_is_named() -> None:
    name, told = why(entry("worse", 10.0), entry("bad", 30.0))
    assert name is None
    assert told == "None works; the nearest is bad: tube margin misses limits.base_margin by 20 K"


def test_a_surplus_is_told_against_the_surplus_wanted() -> None:
    """Dry from 0 to 90 deg at 1200 K, so all but 5 % of the side reaches no more."""
    cold = entry("cold", **DRY)
    limits = cold.case.limits
    short = FLOW + limits.flow_margin - 1200.0
    wanted = f"tube side surplus misses the {limits.flow_margin:g} K wanted for limits.wet_fraction"
    assert f"{wanted} by {short:.0f} K" in why(cold, cold)[1]


# ---- differences ------------------------------------------------------------------------------


def test_a_change_has_the_uncertainty_of_both_runs_or_none() -> None:
    first, second, third = entry("first", 60.0), entry("second", 85.0), entry("third", 70.0)
    first = replace(first, uncertainty={"tube.margin_K": 3.0})
    second = replace(second, uncertainty={"tube.margin_K": 1.5})
    found = compare_runs((first, second, third))
    row = found.outcome("tube.margin_K")
    assert row is not None
    assert row.changes == pytest.approx((0.0, 25.0, 10.0))
    assert row.uncertainties == (6.0, 4.5, None)
    time = found.outcome("time.total_s")
    assert time is not None
    assert time.uncertainties == (None, None, None)
    assert [note for note in found.notes if note.startswith("No numerical uncertainty: third was")]


@pytest.fixture(scope="module")
def small_runs() -> tuple[Result, Result]:
    return run(text_of(SMALL)), run(text_of(SMALL, arc__current="64 A", fillet__leg="1.6 mm"))


def compared(runs: tuple[Result, Result]) -> Comparison:
    return compare_runs([of_result(result, f"{n}.toml") for n, result in enumerate(runs)])


def test_settings_that_differ_are_told_as_written(small_runs: tuple[Result, Result]) -> None:
    told = {row.name: row.values for row in compared(small_runs).settings}
    assert told["arc.current"] == ("70 A", "64 A")
    assert told["fillet.leg"] == ("1.5 mm", "1.6 mm")
    assert "tube.wall" not in told


def test_an_order_that_differs_is_told_number_by_number() -> None:
    one = entry("one")
    other = replace(one, case=replace(one.case, travel=replace(one.case.travel, order="opposite")))
    (row,) = compare_runs((one, other)).settings
    assert row.values == ("in-turn: 1, 2, 3, 4, 5, 6, 7, 8", "opposite: 1, 5, 2, 6, 3, 7, 4, 8")


def test_a_result_folder_says_what_the_run_said(
    small_runs: tuple[Result, Result], tmp_path: Path
) -> None:
    result = small_runs[0]
    write_json(tmp_path / "outcomes.json", result.outcomes.as_dict())
    (tmp_path / "case.toml").write_text(case_to_toml(result.case), "utf-8")
    read, computed = of_folder(tmp_path), of_result(result, "small.toml")
    assert read.outcomes() == computed.outcomes()
    found = compare_runs((read, computed))
    assert found.settings == ()
    assert not [row.name for row in found.outcomes if row.differs]


def test_every_number_of_the_outcomes_is_in_the_table(small_runs: tuple[Result, Result]) -> None:
    found = compared(small_runs)
    table = {row["name"]: row for row in csv.DictReader(io.StringIO(compare_csv(found)))}
    for result, column in zip(small_runs, ("0", "1"), strict=True):
        told = result.outcomes.as_dict()
        assert float(table["tube.margin_K"][column]) == told["tube"]["margin_K"]
        assert float(table["segments[2].start_C"][column]) == told["segments"][2]["start_C"]
        assert float(table["heat.arc_J"][column]) == told["heat"]["arc_J"]
    change = float(table["tube.margin_K"]["1 change"])
    margins = [result.outcomes.tube.margin_K or 0.0 for result in small_runs]
    assert change == pytest.approx(margins[1] - margins[0], abs=1e-6)
    assert table["tube.margin_K"]["1 uncertainty"] == ""


def test_files(small_runs: tuple[Result, Result], tmp_path: Path) -> None:
    found = compared(small_runs)
    files = write_compare(found, tmp_path / "a.compare")
    names = [str(path.relative_to(tmp_path / "a.compare")) for path in files]
    assert names == [
        *("compare.json", "compare.csv", "compare.html"),
        *("figures/compare.png", "figures/compare.svg"),
    ]
    told = json.loads(files[0].read_text("utf-8"))
    assert told == compare_dict(found)
    assert [each["name"] for each in told["runs"]] == ["0", "1"]
    kinds = {row["name"]: row["kind"] for row in told["differences"]}
    assert kinds["arc.current"] == "setting"
    assert kinds["tube.margin_K"] == "outcome"
    assert "mesh.layers" not in kinds  # the same in both


# ---- what is read -----------------------------------------------------------------------------


def in_inches(one: Entry, **written: str) -> Entry:
    return replace(one, case=replace(one.case, display=Display("in", "degF"), written=written))


def test_settings_are_read_in_the_units_of_the_first_case() -> None:
    one, other = entry("one"), entry("other")
    arc = replace(other.case.arc, aim=2.54e-3)
    travel = replace(other.case.travel, resume_below=500.0)
    other = replace(other, case=replace(other.case, arc=arc, travel=travel))
    found = compare_runs((in_inches(one, **{"arc.aim": "0 mm"}), in_inches(other)))
    told = dict(settings_told(found))
    assert told["arc.aim"] == ["0 mm", "0.1 in"]  # as written; a default
    assert told["travel.resume_below"] == ["none", "440.3 degF"]


def test_outcomes_are_read_in_the_units_of_the_first_case(tmp_path: Path) -> None:
    one, other = in_inches(entry("one")), in_inches(entry("other", 140.0))
    found = compare_runs((one, other))
    page = page_of(found, tmp_path)
    words = page.words()
    assert "tube.peak_position" in page.words("th")
    assert "_m " not in page.words("th")
    assert "+18 degF" in words
    text = StringIO()
    Console(file=text, width=300).print(_told(found, [Path("a/b")]))
    shown = " ".join(text.getvalue().split())
    assert "tube margin 270.0 degF 252.0 degF -18.0 degF" in shown
    assert re.search(r"rod [0-9.]+ in [0-9.]+ in", shown)
    assert " mm" not in shown
    assert f"{one.told['tube']['margin_K']:.1f}" in compare_csv(found)  # SI


def test_angles_differ_by_the_near_way_round() -> None:
    assert change_told("tube.peak_angle_deg", -350.0, Display()) == (10.0, "deg")
    assert change_told("tube.peak_C", 10.0, Display("in", "degF")) == (18.0, "degF")


# ---- the page ---------------------------------------------------------------------------------


def page_of(found: Comparison, folder: Path) -> Page:
    (folder / "a.png").write_bytes(b"png")
    return Page(compare_html(found, folder / "a.png", "2026-11-28"))


def test_every_number_of_every_run_is_on_the_page(
    small_runs: tuple[Result, Result], tmp_path: Path
) -> None:
    found = compared(small_runs)
    page = page_of(found, tmp_path)
    told = [float(at["value"] or "") for tag, at in page.tags if tag == "data"]
    rows = [[v for v in row.values if isinstance(v, float | int)] for row in found.outcomes]
    every = [v for row in rows for v in row if not isinstance(v, bool)]
    assert told[-len(every) :] == pytest.approx(every, rel=1e-9)
    words = page.words()
    assert f"{found.why}." in words
    assert "2026-11-28" in words
    assert all(row.name in page.words("th") for row in found.settings)
    assert all(plain(row.name) in page.words("th") for row in found.outcomes)


def test_a_change_on_the_page_has_its_uncertainty(tmp_path: Path) -> None:
    first, second = entry("first", 60.0), entry("second", 85.0)
    first, second = (replace(one, uncertainty={"tube.margin_K": 2.5}) for one in (first, second))
    words = page_of(compare_runs((first, second)), tmp_path).words("td")
    assert "+25 \N{PLUS-MINUS SIGN} 5 K" in words
    assert "same" in words


def test_what_a_user_wrote_stays_text_and_nothing_is_asked_for(tmp_path: Path) -> None:
    first, second = entry("first"), entry("second")
    bad = "<script>alert('1')</script> & \"co\""
    told = {**second.told, "verdict": {**second.told["verdict"], "summary": bad}}
    second = replace(second, name=bad, source=bad, told=told, case=replace(second.case, title=bad))
    page = page_of(compare_runs((first, second)), tmp_path)
    assert {"script", "link", "iframe"}.isdisjoint({tag for tag, _ in page.tags})
    assert page.words("h1") == f"first and {bad}"
    assert page.words("title").startswith(f"first and {bad}")
    assert page.words("p").count(bad) >= 3  # in words, title, source
    links = [at.get(n) for _, at in page.tags for n in ("src", "href") if at.get(n)]
    assert links == ["data:image/png;base64,cG5n"]


# ---- refusals ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "given"),
    [
        (None, "no such file"),
        ("{", "not readable"),
        ("[1]", "no verdict, tube, segments, time, verdict.base_stays_"),
        (
            '{"verdict": {"base_stays_solid": true}, "tube": 3, "time": {"total_s": "3"}}',
            "no tube, segments, verdict.filler_flows, time.total_s in it",
        ),
    ],
)
def test_a_folder_that_is_no_result_is_refused(
    text: str | None, given: str, tmp_path: Path
) -> None:
    if text is not None:
        (tmp_path / "outcomes.json").write_text(text, "utf-8")
    with pytest.raises(CaseError, match="a result folder of `lapheat run`") as caught:
        of_folder(tmp_path)
    assert given in str(caught.value)


@pytest.mark.parametrize("row", ["3", "{}", '{"outcome": "tube.margin_K", "uncertainty": null}'])
def test_an_uncertainty_that_is_none_is_refused(
    row: str, small_runs: tuple[Result, Result], tmp_path: Path
) -> None:
    write_json(tmp_path / "outcomes.json", small_runs[0].outcomes.as_dict())
    (tmp_path / "case.toml").write_text(case_to_toml(small_runs[0].case), "utf-8")
    (tmp_path / "convergence.json").write_text(f'{{"outcomes": [{row}]}}', "utf-8")
    with pytest.raises(CaseError, match="without its name or its uncertainty"):
        of_folder(tmp_path)
