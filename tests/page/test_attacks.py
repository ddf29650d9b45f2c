"""What others try on the page: each is refused, or harmless."""

from __future__ import annotations

import json
import re
import socket
import stat
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest

from lapheat.case.faults import CaseError
from lapheat.page.app import BROWSER, app_of
from lapheat.page.form import values_of
from lapheat.page.guard import POLICY, is_loopback
from lapheat.page.jobs import Jobs
from lapheat.page.serve import serve
from support.page import HOST, PORT, SMALL, TOKEN, Server, client

FORM = dict(zip(("values", "more"), values_of(SMALL), strict=True))
POSTS = ("/api/check", "/api/open", "/api/text", "/api/runs", "/api/calibrate")


def body(**more: object) -> str:
    return json.dumps({"kind": "run", **FORM, **more})


def test_the_page_itself_is_let_in(tmp_path: Path) -> None:
    page = client(tmp_path)
    assert page.get("/").status_code == 200
    assert page.post("/api/runs", content=body()).status_code == 200
    assert [job.title for job in Jobs(tmp_path / "jobs")] == ["Small"]


WRONG = ("", "Bearer wrong", f"Basic {TOKEN}", TOKEN, f"Bearer {TOKEN}x", "Bearer \xff")


@pytest.mark.parametrize("path", ["/api/form", "/api/runs", "/none", "//", "/api/../browser/x"])
@pytest.mark.parametrize("given", WRONG)
def test_nothing_is_told_without_the_token(tmp_path: Path, path: str, given: str) -> None:
    page = client(tmp_path, authorization=given)
    answer = page.get(path)
    assert answer.status_code == 403
    assert TOKEN not in answer.text
    assert page.get(f"{path}?token={TOKEN}").status_code == 403
    assert page.get(path, headers={"cookie": f"lapheat-{PORT}={TOKEN}"}).status_code == 403


def test_what_anyone_may_fetch_is_the_program_and_holds_no_secret(tmp_path: Path) -> None:
    page = client(tmp_path, authorization="")
    for name in ("", *(f"browser/{item.name}" for item in BROWSER.iterdir())):
        answer = page.get(f"/{name}")
        assert answer.status_code == 200
        assert (
            answer.content
            == BROWSER.joinpath(name.removeprefix("browser/") or "index.html").read_bytes()
        )
        assert "set-cookie" not in answer.headers


@pytest.mark.parametrize("path", POSTS)
def test_no_post_without_the_token(tmp_path: Path, path: str) -> None:
    assert client(tmp_path, authorization="").post(path, content=body()).status_code == 403
    assert list(Jobs(tmp_path / "jobs")) == []


def test_a_pass_opens_the_files_of_its_job_alone(tmp_path: Path) -> None:
    page, jobs = client(tmp_path), []
    for _ in range(2):
        jobs.append(page.post("/api/runs", content=body()).json()["id"])
        result = tmp_path / "jobs" / jobs[-1] / "result"
        result.mkdir()
        (result / "outcomes.json").write_text("{}")
    given = page.get(f"/api/runs/{jobs[0]}").json()["pass"]
    stranger = client(tmp_path, authorization="")
    stranger.app = page.app
    file = f"/api/runs/{jobs[0]}/files/outcomes.json"
    assert stranger.get(f"{file}?save&pass={given}").content == b"{}"
    for wrong in ("", "x", given[:-1], f"{given}&pass={given}", TOKEN):
        assert stranger.get(f"{file}?pass={wrong}").status_code == 403
    for other in (file.replace(*jobs), f"/api/runs/{jobs[0]}", f"/api/runs/{jobs[0]}/frames"):
        assert stranger.get(f"{other}?pass={given}").status_code == 403
    assert stranger.post(f"/api/runs/{jobs[0]}/remove?pass={given}").status_code == 403


def test_the_file_that_opens_the_browser_goes_with_the_first_use_of_its_token(
    tmp_path: Path,
) -> None:
    opener = tmp_path / "open.html"
    opener.write_text(TOKEN)
    page = client(tmp_path)
    page.app = app_of(Jobs(tmp_path / "jobs"), TOKEN, "127.0.0.1", PORT, opener)
    page.get("/")
    page.get("/api/form", headers={"authorization": "Bearer wrong"})
    assert opener.exists()
    for _ in range(2):
        assert page.get("/api/form").status_code == 200
        assert not opener.exists()


@pytest.mark.parametrize(
    "origin",
    [
        *(
            "http://evil.example",
            "null",
            "",
            f"https://{HOST}",
            "http://127.0.0.1",
            "http://localhost",
        ),
        f"http://{HOST}.evil.example",
    ],
)
@pytest.mark.parametrize("path", POSTS)
def test_a_post_from_another_origin_is_refused(tmp_path: Path, origin: str, path: str) -> None:
    assert client(tmp_path, origin=origin).post(path, content=body()).status_code == 403
    assert list(Jobs(tmp_path / "jobs")) == []


def test_a_post_that_names_no_origin_is_refused(tmp_path: Path) -> None:
    page = client(tmp_path)
    del page.headers["origin"]
    assert page.post("/api/runs", content=body()).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_another_site_gets_nothing(tmp_path: Path, site: str) -> None:
    page = client(tmp_path, **{"sec-fetch-site": site})
    assert page.get("/api/runs").status_code == 403
    assert page.get("/browser/main.js").status_code == 403
    assert page.post("/api/runs", content=body()).status_code == 403


@pytest.mark.parametrize(
    "host",
    [
        *(
            "evil.example",
            f"evil.example:{PORT}",
            "127.0.0.1",
            "127.0.0.1:1",
            f"127.0.0.1.evil:{PORT}",
        ),
        *("", f"localhost:{PORT}@evil", f"192.168.1.5:{PORT}", f"0.0.0.0:{PORT}"),
    ],
)
def test_another_host_is_refused(tmp_path: Path, host: str) -> None:
    page = client(tmp_path, host=host, origin=f"http://{host}")
    assert page.get("/").status_code == 421
    assert page.get("/api/form").status_code == 421
    assert page.post("/api/runs", content=body()).status_code == 421


@pytest.mark.parametrize("host", [HOST, f"localhost:{PORT}", f"[::1]:{PORT}"])
def test_this_machine_is_known_by_its_names(tmp_path: Path, host: str) -> None:
    page = client(tmp_path, host=host, origin=f"http://{host}")
    assert page.post("/api/check", content=body()).status_code == 200


def test_an_open_address_takes_numbers_and_its_own_name_only(tmp_path: Path) -> None:
    def status(host: str) -> int:
        page = client(tmp_path, "0.0.0.0")
        return page.get("/", headers={"host": host}).status_code

    assert status(f"192.168.1.5:{PORT}") == 200
    assert status(f"{socket.gethostname()}:{PORT}") == 200
    assert status(f"evil.example:{PORT}") == 421


@pytest.mark.parametrize(
    ("address", "port", "host"),
    [
        ("127.0.0.2", PORT, f"127.0.0.2:{PORT}"),
        ("LocalHost", PORT, f"localhost:{PORT}"),
        ("My-Bench", PORT, f"my-bench:{PORT}"),
        ("::1", 80, "[::1]"),
        ("127.0.0.1", 80, "127.0.0.1"),
        ("127.0.0.1", 80, "127.0.0.1:80"),
    ],
)
def test_the_address_it_was_given_is_known(
    tmp_path: Path, address: str, port: int, host: str
) -> None:
    page = client(tmp_path, address, port, host=host, origin=f"http://{host}")
    assert page.get("/").status_code == 200
    assert page.post("/api/check", content=body()).status_code == 200
    assert page.get("/", headers={"host": f"evil.example:{port}"}).status_code == 421
    assert page.get("/", headers={"host": "evil.example"}).status_code == 421


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_are_refused(tmp_path: Path, method: str) -> None:
    assert client(tmp_path).request(method, "/api/runs").status_code == 405


@pytest.mark.parametrize("path", ["/", "/browser/page.css", "/api/runs", "/none"])
@pytest.mark.parametrize("given", [f"Bearer {TOKEN}", ""])
def test_every_answer_says_what_the_browser_may_do(tmp_path: Path, path: str, given: str) -> None:
    headers = client(tmp_path, authorization=given).get(path).headers
    assert headers["content-security-policy"] == POLICY
    assert "unsafe" not in POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in headers


def test_nothing_shipped_needs_more_than_the_policy_allows() -> None:
    page = BROWSER.joinpath("index.html").read_text("utf-8")
    assert "<style" not in page
    assert " style=" not in page
    assert not re.search(r"<[^>]*\son\w+\s*=", page)
    scripts = page.count("<script")
    assert scripts == page.count('<script src="/browser/') + page.count(
        '<script type="module" src="/browser/'
    )
    for item in BROWSER.iterdir():
        text = item.read_text("utf-8")
        assert "innerHTML" not in text
        assert "eval(" not in text
        addresses = text.replace("http://www.w3.org/2000/svg", "")
        assert "http://" not in addresses
        assert "https://" not in addresses


@pytest.mark.parametrize(
    "name",
    [
        *("../case.toml", "../../token", "..%2f..%2ftoken", "%2e%2e/%2e%2e/token", "/etc/passwd"),
        *("//etc/passwd", "figures/../../job.json", "....//token", "link", "outcomes.json%00.png"),
    ],
)
def test_a_path_in_a_file_name_leads_nowhere(tmp_path: Path, name: str) -> None:
    page = client(tmp_path)
    (tmp_path / "token").write_text("the secret")
    job = page.post("/api/runs", content=body()).json()["id"]
    result = tmp_path / "jobs" / job / "result"
    (result / "figures").mkdir(parents=True)
    (result / "outcomes.json").write_text("{}")
    (result / "link").symlink_to(tmp_path / "token")
    answer = page.get(f"/api/runs/{job}/files/{name}")
    assert answer.status_code == 404
    assert "secret" not in answer.text
    assert page.get(f"/api/runs/{job}/files/outcomes.json").status_code == 200


@pytest.mark.parametrize("name", ["../jobs", "..", "%2e%2e", "0" * 16, "x" * 5000, "%00"])
@pytest.mark.parametrize("ends", ["", "/frames", "/files/case.toml"])
def test_a_job_that_does_not_exist_is_not_looked_for(tmp_path: Path, name: str, ends: str) -> None:
    assert client(tmp_path).get(f"/api/runs/{name}{ends}").status_code in (404, 405)


@pytest.mark.parametrize(
    "name", ["../app.py", "..%2fapp.py", "page.css/../../app.py", "app.py", ""]
)
def test_only_shipped_files_are_handed_out(tmp_path: Path, name: str) -> None:
    assert client(tmp_path).get(f"/browser/{name}").status_code == 404


def test_a_report_is_handed_over_and_never_shown_within_the_page(tmp_path: Path) -> None:
    page = client(tmp_path)
    job = page.post("/api/runs", content=body()).json()["id"]
    result = tmp_path / "jobs" / job / "result"
    result.mkdir()
    for name in ("report.html", "peaks.svg", "sheet.pdf"):
        (result / name).write_text("<script>alert(1)</script>")
        headers = page.get(f"/api/runs/{job}/files/{name}").headers
        assert headers["content-disposition"].startswith("attachment")
        assert headers["content-type"] == "application/octet-stream"


def test_a_large_upload_is_refused_before_it_is_read(tmp_path: Path) -> None:
    page = client(tmp_path)
    for path in POSTS:
        answer = page.post(path, content="x", headers={"content-length": str(10**9)})
        assert answer.status_code == 413
    assert page.post("/api/open", content="x" * 1_000_001).status_code == 413
    measured = body(kind="calibrate", measured="1,2\n" * 5_100_000)
    assert page.post("/api/calibrate", content=measured).status_code == 413
    assert list(Jobs(tmp_path / "jobs")) == []


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, Path]]:
    """A real server and its data folder."""
    data = tmp_path_factory.mktemp("served") / "data"
    server = Server(data)
    yield server, data
    server.close()


def test_a_gigabyte_without_a_length_is_cut_off(served: tuple[Server, Path]) -> None:
    sent = 0

    def endless() -> Iterator[bytes]:
        nonlocal sent
        for _ in range(1000):
            sent += 10**6
            yield b"x" * 10**6

    server, _ = served
    host = server.base.removeprefix("http://")
    name, port = host.split(":")
    with socket.create_connection((name, int(port)), 20) as link:
        head = (
            f"POST /api/open HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n"
            f"Authorization: Bearer {server.token}\r\nTransfer-Encoding: chunked\r\n\r\n"
        )
        link.sendall(head.encode())
        answer = b""
        with suppress(OSError):  # it hangs up
            for part in endless():
                link.sendall(f"{len(part):x}\r\n".encode() + part + b"\r\n")
        with suppress(OSError):
            answer = link.recv(100)
    assert sent < 100 * 10**6
    assert answer == b"" or b" 413 " in answer
    assert _resident(server.process.pid) < 400e6


def _resident(process: int) -> float:
    status = Path(f"/proc/{process}/status")
    if not status.exists():
        pytest.skip("the system has no /proc")  # memory is read from it; Linux, so CI, has it
    return 1e3 * float(status.read_text().partition("VmRSS:")[2].split()[0])


@pytest.mark.parametrize(
    "sent",
    [
        *("", "[]", "1", "{", "[" * 100_000, '{"values": 1}', '{"values": {"a": 1}}', "\ud800"),
        '{"values": {}, "more": 1}',
    ],
)
@pytest.mark.parametrize("path", ["/api/check", "/api/text", "/api/runs"])
def test_what_is_no_form_is_refused(tmp_path: Path, path: str, sent: str) -> None:
    answer = client(tmp_path).post(path, content=sent.encode("utf-8", "surrogatepass"))
    assert answer.status_code == 422


@pytest.mark.parametrize("number", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_what_is_no_number_is_never_kept(tmp_path: Path, number: str) -> None:
    page = client(tmp_path)
    sent = body(kind="find", options={"sure": 0.5}).replace("0.5", number)
    assert page.post("/api/runs", content=sent).status_code == 422
    assert page.get("/api/runs").json()["runs"] == []
    assert list(Jobs(tmp_path / "jobs")) == []


@pytest.mark.parametrize("path", ["/api/check", "/api/text", "/api/runs", "/api/calibrate"])
@pytest.mark.parametrize("where", ["values", "measured", "more"])
def test_half_a_character_is_refused_and_leaves_nothing(
    tmp_path: Path, path: str, where: str
) -> None:
    half = {
        "values": {"values": FORM["values"] | {"title": "\ud800"}},
        "more": {"more": "# \udfff"},
        "measured": {"measured": "time_s\ud800"},
    }[where]
    kind = "calibrate" if path == "/api/calibrate" else "run"
    answer = client(tmp_path).post(path, content=body(**{"kind": kind, "measured": "x", **half}))
    assert answer.status_code == 422
    assert list((tmp_path / "jobs").iterdir()) == []


def test_a_job_that_cannot_be_written_leaves_no_folder(tmp_path: Path) -> None:
    jobs = Jobs(tmp_path)
    with pytest.raises(UnicodeEncodeError):
        jobs.add("run", "half", {}, {"case.toml": "\ud800"})
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "options",
    [
        *(
            {"out": "/tmp/x"},
            {"workers": 99},
            {"cluster": "tcp://x:1"},
            {"converge": "yes"},
            [],
            "x",
        ),
        {"converge": 1},
    ],
)
def test_a_run_takes_no_other_options(tmp_path: Path, options: object) -> None:
    assert client(tmp_path).post("/api/runs", content=body(options=options)).status_code == 422


@pytest.mark.parametrize(
    ("kind", "options"),
    [
        *(("shell", {}), ("__init__", {}), ("calibrate", {}), ("risk", {"samples": "64"})),
        *(("risk", {"samples": True}), ("window", {"vary": [1]}), ("window", {"vary": ["x"] * 21})),
        *(("find", {"fix": "x" * 2001}), ("compare", {"runs": ["../x", "/etc"]}), ("compare", {})),
    ],
)
def test_other_work_is_refused(tmp_path: Path, kind: str, options: object) -> None:
    answer = client(tmp_path).post("/api/runs", content=body(kind=kind, options=options))
    assert answer.status_code in (404, 422)
    assert list(Jobs(tmp_path / "jobs")) == []


def test_names_of_folders_are_random_and_not_the_users(tmp_path: Path) -> None:
    values = FORM["values"] | {"title": "../../evil"}
    page = client(tmp_path)
    page.post("/api/runs", content=body(values=values))
    (job,) = Jobs(tmp_path / "jobs")
    assert job.title == "../../evil"
    assert [path.name for path in (tmp_path / "jobs").iterdir()] == [job.id]


def test_a_data_folder_is_its_owners_and_one_server_s_alone(served: tuple[Server, Path]) -> None:
    server, data = served
    assert stat.S_IMODE(data.stat().st_mode) == 0o700
    assert len(server.token) >= 32
    kept = [path for path in data.rglob("*") if path.is_file()]
    assert not any(server.token in path.read_text("utf-8", "replace") for path in kept)
    with pytest.raises(CaseError, match="no other page"):
        serve(data, "127.0.0.1", None, False)


def test_a_folder_or_an_address_that_cannot_be_used_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(CaseError, match="--data"):
        serve(tmp_path / "file", "127.0.0.1", None, False)
    with pytest.raises(CaseError, match="--host"):
        serve(tmp_path / "data", "no.such.host.invalid", None, False)


@pytest.mark.parametrize(
    ("host", "near"),
    [
        ("127.0.0.1", True),
        ("::1", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("::", False),
        ("10.0.0.1", False),
        ("evil", False),
    ],
)
def test_what_counts_as_this_machine(host: str, near: bool) -> None:
    assert is_loopback(host) is near


def test_each_start_is_another_origin_with_another_secret(tmp_path: Path) -> None:
    """A stranger's server that had an earlier port may have left a script in the browser."""
    found = []
    for _ in range(2):
        server = Server(tmp_path)
        found.append((server.base, server.token))
        server.close()
    (base, token), (other, secret) = found
    assert base != other
    assert token != secret


@pytest.mark.parametrize(
    "text", ["", "{", "[]", '{"values": {"title": 1}, "more": ""}', '{"values": {}}']
)
def test_a_torn_draft_is_passed_over(tmp_path: Path, text: str) -> None:
    page = client(tmp_path)
    fresh = page.get("/api/form").json()["values"]
    page.post("/api/check", content=body())
    assert page.get("/api/form").json()["values"] == FORM["values"] != fresh
    (tmp_path / "jobs" / "draft.json").write_text(text)
    assert page.get("/api/form").json()["values"] == fresh
