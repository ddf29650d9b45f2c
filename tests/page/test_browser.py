"""The page in a real browser: Debian's Chromium, driven by Playwright."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread
from time import monotonic

import pytest

from lapheat.case.faults import CaseError
from lapheat.case.file import read_case_text
from lapheat.page.form import values_of
from lapheat.page.jobs import Jobs
from support.case_texts import BEAD
from support.page import SMALL, Server, until

CHROMIUM = Path("/usr/bin/chromium")
REQUIRED = os.environ.get("LAPHEAT_BROWSER") == "required"
if not CHROMIUM.exists() and not REQUIRED:  # a user may have none; CI requires it
    pytest.skip("there is no /usr/bin/chromium", allow_module_level=True)

# without the browser its driver need not be there either, hence E402
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright  # noqa: E402

QUIET = (
    *("--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"),
    *("--disable-background-networking", "--disable-component-update"),
)
SLOW = 600_000  # [ms] at most for a run or a small study on a slow, busy machine
# Long enough to be stopped: the march alone takes most of a minute.
LONG = SMALL.replace('"coarse"', '"fine"').replace('"4 s"', '"300 s"').replace('"Small"', '"Long"')
HOSTILE = '<img src=x onerror="document.title=1">&lt;b&gt; $x$ {{7*7}}'


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    expect.set_options(timeout=30_000)  # [ms]; its own 5 s is short on a busy machine
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=str(CHROMIUM), args=list(QUIET))
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("page")


@pytest.fixture(scope="module")
def server(data: Path) -> Iterator[Server]:
    planted_window(data)
    planted_find(data)
    server = Server(data)
    yield server
    server.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 1280, "height": 900})
    context.set_default_timeout(30_000)
    yield context
    context.close()


@pytest.fixture
def page(context: BrowserContext, server: Server) -> Iterator[Page]:
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("console", lambda told: wrong.append(told.text) if told.type == "error" else None)
    refused = "Failed to load resource"  # what the server refuses, the tests ask for
    go(page, server)
    yield page
    assert [text for text in wrong if not text.startswith(refused)] == []


def go(page: Page, server: Server) -> None:
    page.goto(server.address)
    page.wait_for_selector("body[data-ready]")


def put(page: Page, text: str) -> None:
    page.set_input_files("#file", {"name": "case.toml", "mimeType": "", "buffer": text.encode()})
    title = values_of(text)[0].get("title", "")
    expect(page.locator('[name="title"]')).to_have_value(title)
    expect(page.locator("#faults .good")).to_be_visible()


def run(page: Page) -> None:
    before = (
        page.locator("#latest a").get_attribute("href") if page.locator("#latest a").count() else ""
    )
    page.click("#run")
    expect(page.locator("#latest a")).not_to_have_attribute("href", before or "-", timeout=SLOW)


def test_a_longer_segment_changes_the_verdict_and_the_download_is_the_file(
    page: Page, data: Path
) -> None:
    put(page, SMALL)
    run(page)
    expect(page.locator("#latest .verdict")).to_have_text("✓Works")
    page.fill('[name="travel.segment"]', "37 mm")
    expect(page.locator("#drawing")).to_contain_text("2 of 2 segments")
    run(page)
    expect(page.locator("#latest .verdict")).to_have_text("✗Does not work")
    page.click("#latest a")
    expect(page.locator("#answer-body h2")).to_have_text("Small")
    expect(page.locator("#answer-body .verdict")).to_have_text("✗Does not work")
    job = page.url.rpartition("/")[2]
    for name in ("case.toml", "report.html", "sheet.pdf"):
        with page.expect_download() as caught:
            page.click(f'a[href^="/api/runs/{job}/files/{name}?save"] >> nth=0')
        kept = data / "jobs" / job / "result" / name
        assert Path(caught.value.path()).read_bytes() == kept.read_bytes()
        assert caught.value.suggested_filename == name
    # the map tells values to the keyboard, the part turns and has its moments
    page.locator("#answer-body canvas").first.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator(".readout").first).to_contain_text(re.compile(r"\d+ °C at 1\d deg"))
    page.get_by_role("slider").fill("3")
    expect(page.locator(".wide .readout")).to_contain_text("segment 1")
    # both runs beside each other
    page.click('nav [data-view="runs"]')
    for _ in range(2):
        page.locator("#runs-body input:not(:checked)").first.check()
    page.click("#compare")
    expect(page.locator("#answer-body h2")).to_contain_text("Compare", timeout=SLOW)
    expect(page.locator("#answer-body")).to_contain_text("travel.segment", timeout=SLOW)
    expect(page.locator("#answer-body .sides .verdict")).to_have_count(2)


def test_a_run_too_close_to_call_says_so_wherever_it_is_shown(
    browser: Browser, tmp_path: Path
) -> None:
    jobs = Jobs(tmp_path / "jobs")
    job = jobs.add("run", "Near", {}, {})
    jobs.put(replace(job, state="done", works=False, undecided=True))
    server = Server(tmp_path)
    try:
        with browser.new_context() as context:
            page = context.new_page()
            go(page, server)
            expect(page.locator("#latest .verdict.near")).to_have_text("≈Too close to call")
            page.click('nav [data-view="runs"]')
            expect(page.locator("#runs-body .near")).to_have_text("≈ too close to call")
    finally:
        server.close()


def test_measurements_are_uploaded_and_refused_in_the_words_of_the_command_line(
    page: Page,
) -> None:
    put(page, BEAD)
    page.click('nav [data-view="choose"]')
    page.click("form[aria-labelledby=card-calibrate] button[type=submit]")
    expect(page.locator("form[aria-labelledby=card-calibrate] .fault")).to_contain_text(
        "nothing was measured"
    )
    measured = {"name": "../bead.csv", "mimeType": "text/csv", "buffer": b"time_s,toe_C\n0,x\n"}
    page.set_input_files("#measured", measured)
    expect(page.locator("#choose-body [role=status]")).to_contain_text("bead.csv, 3 lines")
    page.click("form[aria-labelledby=card-calibrate] button[type=submit]")
    expect(page.locator("#answer-body .fault")).to_contain_text("measured.csv", timeout=SLOW)
    expect(page.locator("#answer-body")).to_contain_text("✗ failed")


def test_a_run_is_found_again_after_a_reload_and_stopped_at_once(page: Page, data: Path) -> None:
    put(page, LONG)
    page.click("#run")
    page.click("#run")
    expect(page.locator("#queue .what:visible")).to_contain_text("1400 degC", timeout=SLOW)
    expect(page.locator("#queue .job")).to_have_count(2)
    page.reload()
    expect(page.locator("#queue .what:visible")).to_contain_text("segment")
    expect(page.locator("#queue .job")).to_have_count(2)
    expect(page.locator('[name="title"]')).to_have_value("Long")
    page.locator("#queue button").nth(1).click()
    expect(page.locator("#queue .job")).to_have_count(1)
    began = monotonic()
    page.locator("#queue button").first.click()
    expect(page.locator("#queue .idle")).to_be_visible()
    assert monotonic() - began < 5.0
    assert [job.state for job in Jobs(data / "jobs") if job.title == "Long"] == ["stopped"] * 2
    page.click('nav [data-view="runs"]')
    expect(page.locator("#runs-body")).to_contain_text("■ stopped")
    remove = page.get_by_role("button", name=re.compile("Remove Long"))
    for left in (1, 0):
        remove.first.click()
        expect(remove).to_have_count(left)
    expect(page.locator("#runs-body")).not_to_contain_text("Long")


def test_a_bad_value_is_told_at_its_field_in_the_words_of_the_command_line(page: Page) -> None:
    put(page, SMALL)
    field = page.locator('[name="tube.wall"]')
    field.fill("0.065")
    with pytest.raises(CaseError) as caught:
        read_case_text(SMALL.replace("1.2 mm", "0.065"), "case.toml")
    (fault,) = caught.value.faults
    told = page.locator(f"#{field.get_attribute('id')}-fault")
    expect(told).to_have_text(f"given: {fault.given} allowed: {fault.allowed} hint: {fault.hint}")
    expect(field).to_have_attribute("aria-invalid", "true")
    assert f"{field.get_attribute('id')}-fault" in (field.get_attribute("aria-describedby") or "")
    expect(page.locator("#run")).to_be_disabled()
    page.locator("#faults button").click()
    expect(field).to_be_focused()
    field.fill("1.2 mm")
    expect(told).to_be_hidden()
    expect(page.locator("#run")).to_be_enabled()


def test_a_case_file_is_dropped(page: Page) -> None:
    drop = """text => {
        const data = new DataTransfer();
        data.items.add(new File([text], "stub.toml"));
        for (const kind of ["dragenter", "dragover", "drop"])
            document.body.dispatchEvent(new DragEvent(kind, {dataTransfer: data, bubbles: true}));
    }"""
    page.evaluate(drop, SMALL.replace('"Small"', '"Dropped"'))
    expect(page.locator('[name="title"]')).to_have_value("Dropped")
    expect(page.locator("#drop")).to_be_hidden()
    page.evaluate(drop, "wall = 1.5 in")
    expect(page.locator("#faults")).to_contain_text("put a value with a unit in quotes")
    expect(page.locator('[name="title"]')).to_have_value("Dropped")


def ask(page: Page, card: str) -> None:
    page.click(f"form[aria-labelledby=card-{card}] button[type=submit]")


def test_a_click_in_the_map_of_a_window_loads_the_setting(page: Page) -> None:
    put(page, SMALL)
    page.fill('[name="title"]', HOSTILE)
    page.click('nav [data-view="choose"]')
    ends = {"axis1": ("8 mm", "12 mm", "2"), "axis2": ("4 s", "8 s", "2")}
    for axis, texts in ends.items():
        for name, text in zip(("from", "to", "count"), texts, strict=True):
            page.fill(f"#{axis}-{name}", text)
    ask(page, "window")
    nodes = page.locator(".node")
    expect(nodes.first).to_be_visible(timeout=SLOW)
    expect(page.locator("#answer-body h2")).to_contain_text(HOSTILE)
    expect(page.locator('img[src="x"]')).to_have_count(0)
    # the lowest row begins at the left: 8 mm, 4 s
    nodes.first.focus()
    readout = page.locator(".mapbox .readout")
    expect(readout).to_contain_text("travel.segment = 8 mm, travel.pause = 4 s")
    page.keyboard.press("ArrowUp")
    expect(readout).not_to_contain_text("travel.pause = 4 s")
    page.get_by_role(
        "button", name=re.compile("Load travel.segment = 12 mm, travel.pause = 4 s:")
    ).first.click()
    expect(page.locator('[name="travel.segment"]')).to_have_value("12 mm")
    expect(page.locator('[name="travel.pause"]')).to_have_value("4 s")
    expect(page.locator("#joint")).to_be_visible()


def test_a_count_that_is_no_number_is_refused_at_its_card(page: Page, data: Path) -> None:
    put(page, SMALL)
    page.click('nav [data-view="choose"]')
    before = len(list(Jobs(data / "jobs")))
    for given in ("ten", "-4", "1e3"):
        page.fill("#risk-samples", given)
        ask(page, "risk")
        fault = page.locator("form[aria-labelledby=card-risk] .fault")
        expect(fault).to_contain_text(f"given: {given}")
    assert len(list(Jobs(data / "jobs"))) == before


def test_a_click_in_the_map_of_chances_loads_a_setting(page: Page, data: Path) -> None:
    job = next(job.id for job in Jobs(data / "jobs") if job.kind == "window")
    put(page, SMALL)
    page.goto(f"{page.url.partition('#')[0]}#answer/{job}")
    cells = page.locator('.chance[role="button"]')
    expect(cells).to_have_count(9)
    cells.first.focus()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowRight")
    expect(page.locator(".mapbox .readout").nth(1)).to_have_text(
        "travel.segment 10 mm, travel.pause 6 s: chance 50 %"
    )
    page.keyboard.press("Enter")
    expect(page.locator('[name="travel.segment"]')).to_have_value("10 mm")
    expect(page.locator('[name="travel.pause"]')).to_have_value("6 s")


def planted_window(data: Path) -> str:
    """A finished window with chances, as its study tells it; computing one takes minutes."""
    numbers = {"margin_K": 60.0, "surplus_K": 20.0, "total_s": 30.0, "failed": None}
    runs = [
        {"inputs": {"travel.segment": segment, "travel.pause": pause}}
        | {"at": [float(text.split()[0]) for text in (segment, pause)]}
        | {"base_stays_solid": True, "filler_flows": segment == "8 mm"}
        | numbers
        for segment in ("8 mm", "12 mm")
        for pause in ("4 s", "8 s")
    ]
    nodes = {"mm": [8.0, 10.0, 12.0], "s": [4.0, 6.0, 8.0]}
    keys = {"travel.segment": "mm", "travel.pause": "s"}
    axes = [{"key": key, "unit": unit, "values": nodes[unit][::2]} for key, unit in keys.items()]
    pick = {name: runs[0][name] for name in ("inputs", "at")}
    told = {"axes": axes, "runs": runs, "pick": pick, "safest": None}
    told["boundaries"] = {"base_melts": [], "filler_cold": [[[10.0, 4.0], [10.0, 8.0]]]}
    told["chances"] = {
        "sure": 0.9,
        "axes": [
            {"key": key, "unit": unit, "values": nodes[unit]}
            | {"settings": [f"{value:.0f} {unit}" for value in nodes[unit]]}
            for key, unit in keys.items()
        ],
        "chance": [1.0, 0.95, 0.9, 0.6, 0.5, 0.4, 0.1, 0.05, 0.0],
    }
    view = {"title": "Small", "lines": [HOSTILE], "told": told, "rows": []}
    jobs = Jobs(data / "jobs")
    job = jobs.add("window", "Small", {}, {"view.json": json.dumps(view)})
    jobs.put(replace(job, state="done", works=True))
    return job.id


def planted_find(data: Path) -> None:
    """A search that misses what is wanted by less than a share would show."""
    best = {"inputs": {"arc.hold": "1230 degC"}, "chance": 0.96875, "low": 0.929, "high": 0.987}
    rest = {"inputs": {"arc.hold": "1240 degC"}, "chance": 0.977, "low": 0.871, "high": 0.997}
    change = {"name": "a flatter torch", "inputs": {"arc.work_angle": "35 deg"}, "chance": 0.98}
    change |= {"low": 0.946, "high": 0.994, "benches": 4, "counted": False}
    told = {
        "pick": None,
        "picks": [best | {"benches": 160, "total_s": 60.3}, rest | {"benches": 0, "total_s": 54.1}],
        "instead": [
            change | {"margin_K": 23.2, "slack_K": -0.2},
            change | {"margin_K": 9.0, "slack_K": 1.0, "benches": 160, "counted": True},
        ],
    }
    jobs = Jobs(data / "jobs")
    view = {"title": "Sought", "lines": [], "told": told, "rows": []}
    job = jobs.add("find", "Sought", {}, {"view.json": json.dumps(view)})
    jobs.put(replace(job, state="done", works=False))


def test_a_search_counts_what_was_tested_and_says_what_is_estimated(page: Page) -> None:
    page.click('nav [data-view="runs"]')
    page.locator("#runs-body a", has_text="Sought").click()
    body = page.locator("#answer-body")
    expect(body).to_contain_text("✗ nothing passed")
    chances = body.locator("tbody td", has_text="%")
    expect(chances).to_have_text(
        [
            "155 of 160 fresh benches, 93 % to 99 %",
            "estimated 98 %, 87 % to 99.7 %",
            "estimated 98 %, 95 % to 99 %",
            "157 of 160 benches, 95 % to 99 %",
        ]
    )
    expect(body).to_contain_text("+23 K")
    expect(body).to_contain_text("0 K")
    expect(body).not_to_contain_text("-0 K")


def test_from_start_to_sheet_by_keyboard_alone(page: Page) -> None:
    def walk(to: str) -> None:
        for _ in range(120):
            page.keyboard.press("Tab")
            if page.locator(f"{to}:focus").count():
                return
        pytest.fail(f"{to} is not reached by the keyboard")

    put(page, SMALL)
    before = (
        page.locator("#latest a").get_attribute("href")
        if page.locator("#latest a").count()
        else "-"
    )
    page.locator(".brand").click()
    walk('[name="title"]')
    page.keyboard.press("Control+A")
    page.keyboard.type("By keyboard")
    page.keyboard.press("Control+Enter")
    expect(page.locator("#latest a")).not_to_have_attribute("href", before or "-", timeout=SLOW)
    walk("#latest a")
    page.keyboard.press("Enter")
    expect(page.locator("#answer-body h2")).to_have_text("By keyboard")
    walk('a[download="sheet.pdf"]')
    with page.expect_download() as caught:
        page.keyboard.press("Enter")
    assert Path(caught.value.path()).read_bytes().startswith(b"%PDF")


def test_two_tabs_keep_apart(page: Page, context: BrowserContext, server: Server) -> None:
    put(page, SMALL)
    other = context.new_page()
    go(other, server)
    other.fill('[name="title"]', "Other")
    page.fill('[name="title"]', "One")
    other.reload()
    page.reload()
    expect(other.locator('[name="title"]')).to_have_value("Other")
    expect(page.locator('[name="title"]')).to_have_value("One")


def test_another_user_of_the_machine_sees_nothing(browser: Browser, server: Server) -> None:
    with browser.new_context() as stranger:
        page = stranger.new_page()
        page.goto(server.base)
        expect(page.locator("#away")).to_contain_text("This page is closed to you")
        page.goto(f"{server.base}/#runs")
        expect(page.locator("#runs-body")).to_be_empty()


def test_a_server_of_another_user_on_another_port_learns_nothing(
    context: BrowserContext, server: Server
) -> None:
    """Cookies would be sent to it: browsers keep them by host, without the port."""
    page = context.new_page()
    go(page, server)
    told: list[str] = []

    class Spy(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            told.append(f"{self.path} {self.headers}")
            self.send_response(200)
            self.send_header("content-type", "text/html")
            self.end_headers()
            self.wfile.write(b"<!doctype html><title>spy</title>")

        def log_message(self, *_: object) -> None:
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Spy) as spy:
        thread = Thread(target=spy.serve_forever, daemon=True)
        thread.start()
        page.goto(f"http://127.0.0.1:{spy.server_port}/")
        found = page.evaluate("[document.cookie, ...Object.values(localStorage)]")
        reached = page.evaluate(
            "address => fetch(address).then(() => 'yes', () => 'no')", f"{server.base}/api/runs"
        )
        spy.shutdown()
        thread.join()
    assert found == [""]
    assert reached == "no"
    assert told
    assert server.token not in "".join(told)
    assert context.cookies() == []


def test_markup_stays_text(page: Page) -> None:
    put(page, SMALL)
    page.fill('[name="title"]', HOSTILE)
    page.fill('[name="tube.alloy"]', HOSTILE)
    expect(page.locator("#faults button")).to_have_text("tube.alloy")
    expect(page.locator(".fault:visible", has_text="given:").first).to_contain_text("onerror")
    page.fill('[name="tube.alloy"]', "")
    run(page)
    page.click('nav [data-view="runs"]')
    expect(page.locator("#runs-body a").first).to_have_text(HOSTILE)
    page.locator("#runs-body a").first.click()
    expect(page.locator("#answer-body h2")).to_have_text(HOSTILE)
    assert page.title() == f"{HOSTILE} - Lapheat"
    assert page.locator('img[src="x"]').count() == 0


def axe(page: Page, state: str) -> None:
    """No serious or critical fault of accessibility in this state."""
    from axe_playwright_python.sync_playwright import Axe

    found = Axe().run(page).response["violations"]
    grave = {each["id"]: [node["html"][:200] for node in each["nodes"][:3]] for each in found
             if each["impact"] in ("serious", "critical")}  # fmt: skip
    assert grave == {}, state


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_grave_in_any_state(
    browser: Browser, server: Server, scheme: str
) -> None:
    # a parameter is a str, playwright wants the literal
    context = browser.new_context(
        color_scheme=scheme, bypass_csp=True, viewport={"width": 1280, "height": 900}
    )  # type: ignore[arg-type]
    page = context.new_page()
    go(page, server)
    put(page, SMALL)
    axe(page, "joint")
    page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true })")
    page.fill('[name="tube.wall"]', "x")
    expect(page.locator("#faults li")).to_have_count(1)
    axe(page, "all unfolded, a fault")
    page.click('nav [data-view="choose"]')
    page.wait_for_selector(".card")
    axe(page, "choose")
    page.click('nav [data-view="runs"]')
    axe(page, "runs")
    page.click('nav [data-view="joint"]')
    put(page, LONG)
    page.click("#run")
    page.wait_for_selector("#queue progress")
    axe(page, "at work")
    page.click("#queue button")
    expect(page.locator("#queue .idle")).to_be_visible()
    page.click('nav [data-view="runs"]')
    links = [link.get_attribute("href") for link in page.locator("#runs-body a").all()]
    for link in [*links[:3], links[-1]]:
        page.goto(f"{server.base}/{link}")
        page.wait_for_selector(f'#answer-body[data-shown="{str(link).rpartition("/")[2]}"]')
        axe(page, "an answer")
        page.click('nav [data-view="runs"]')
    context.close()


def test_the_page_is_quick_and_does_not_shift(page: Page, server: Server) -> None:
    go(page, server)
    paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0].startTime")
    put(page, SMALL)
    shift = page.evaluate(
        """() => new Promise(done => {
            let sum = 0;
            const add = each => { if (!each.hadRecentInput) sum += each.value; };
            new PerformanceObserver(list => list.getEntries().forEach(add))
                .observe({type: "layout-shift", buffered: true});
            setTimeout(() => done(sum), 300);
        })"""
    )
    took = page.evaluate(
        """async () => {
            const field = document.querySelector('[name="travel.segment"]'), times = [];
            for (const text of ["9 mm", "8 mm", "7 mm", "10 mm", "11 mm"]) {
                const began = performance.now();
                const checked = new Promise(done => {
                    document.addEventListener("checked", done, {once: true});
                });
                field.value = text;
                field.dispatchEvent(new Event("input", {bubbles: true}));
                await checked;
                times.push(performance.now() - began);
            }
            return times.sort((a, b) => a - b)[2];
        }"""
    )
    print(f"first paint {paint:.0f} ms, a change {took:.0f} ms, shift {shift:.3f}")
    # 1 s and 0.1 s are wanted on a quiet machine; thrice that on a busy one
    assert paint < 3000.0
    assert took < 300.0
    assert shift < 0.1


def test_nothing_is_asked_of_the_network(context: BrowserContext, server: Server) -> None:
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    go(page, server)
    page.click('nav [data-view="choose"]')
    assert asked
    assert all(url.startswith((server.base, "blob:", "data:")) for url in asked)


def test_a_killed_server_comes_back_with_its_queue_and_history(
    browser: Browser, tmp_path: Path
) -> None:
    server = Server(tmp_path)
    context = browser.new_context()
    page = context.new_page()
    go(page, server)
    put(page, LONG)
    page.click("#run")
    page.fill('[name="title"]', "Second")
    expect(page.locator("#run")).to_be_enabled()
    page.click("#run")
    expect(page.locator("#queue .job")).to_have_count(2)
    until(lambda: any(job.state == "waiting" for job in Jobs(tmp_path / "jobs")))
    server.kill()
    expect(page.locator("#away")).to_contain_text("does not answer")
    again = Server(tmp_path, server.port)  # as `--port` asks for
    try:
        expect(page.locator("#away")).to_contain_text("Each start makes a new address")
        page.goto(f"{again.base}/#token=of-a-stranger")
        expect(page.locator("#away")).to_contain_text("Each start makes a new address")
        go(page, again)
        expect(page.locator("#away")).to_be_hidden()
        page.goto(f"{again.base}/#token=of-a-stranger")  # takes the right one away from nobody
        expect(page.locator("#queue .job")).to_have_count(2)
        page.reload()
        expect(page.locator('[name="title"]')).to_have_value("Second")
        with browser.new_context() as another:  # a new tab begins where the form was left
            fresh = another.new_page()
            go(fresh, again)
            expect(fresh.locator('[name="title"]')).to_have_value("Second")
        expect(page.locator("#queue .job")).to_have_count(2, timeout=SLOW)
        expect(page.locator("#queue")).to_contain_text("Second")
        expect(page.locator("#queue .what:visible")).to_contain_text("1400 degC", timeout=SLOW)
        page.locator("#queue button").nth(1).click()
        expect(page.locator("#queue .job")).to_have_count(1)
        page.locator("#queue button").click()
        expect(page.locator("#queue .idle")).to_be_visible()
    finally:
        context.close()
        again.close()
