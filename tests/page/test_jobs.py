"""Jobs outlive their server, and their results are those of the command line."""

from __future__ import annotations

import asyncio
import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from lapheat.case.faults import CaseError
from lapheat.cli.run import carry_out as run_command
from lapheat.cli.terminal.exits import Left
from lapheat.page import worker
from lapheat.page.jobs import OPEN, Job, Jobs, write_whole
from lapheat.page.runner import Runner
from lapheat.page.view import run_view
from lapheat.page.worker import carry_out
from support.page import SMALL


def test_jobs_come_back_and_one_that_was_at_work_waits_again(tmp_path: Path) -> None:
    jobs = Jobs(tmp_path)
    first, second, third = (jobs.add("run", f"case {n}", {}, {"case.toml": SMALL}) for n in "123")
    jobs.put(replace(first, state="done", summary="well", works=True))
    jobs.put(replace(second, state="running"))
    again = Jobs(tmp_path)
    assert [(job.title, job.state) for job in again] == [
        ("case 1", "done"),
        ("case 2", "waiting"),
        ("case 3", "waiting"),
    ]
    assert again.next() == second
    again.remove(third)
    assert [job.title for job in Jobs(tmp_path)] == ["case 1", "case 2"]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        "{}",
        '{"id": "x"}',
        '{"id": "0000000000000000", "kind": "shell", "title": ""}',
    ],
)
def test_a_torn_state_is_passed_over(tmp_path: Path, text: str) -> None:
    jobs = Jobs(tmp_path)
    whole = jobs.add("run", "whole", {}, {})
    torn = tmp_path / ("0" * 16)
    torn.mkdir()
    (torn / "job.json").write_text(text)
    (tmp_path / "stray.txt").write_text("x")
    (tmp_path / ("1" * 16)).symlink_to(tmp_path / whole.id)
    assert list(Jobs(tmp_path)) == [whole]


def test_a_state_is_replaced_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "job.json"
    write_whole(path, "old")

    def broken(*_: Any) -> None:
        raise OSError("no space")

    monkeypatch.setattr("os.replace", broken)
    with pytest.raises(OSError, match="no space"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert [item.name for item in tmp_path.iterdir()] == ["job.json"]


class Stub(Runner):
    """Runner whose worker is made up: each job ends too close to call."""

    def __init__(self, jobs: Jobs) -> None:
        super().__init__(jobs)
        self.asked: list[str] = []
        self.starting = asyncio.Event()

    async def warm(self) -> None:
        await self.starting.wait()

    async def _asked(self, job: Job) -> dict[str, Any]:
        self.asked.append(job.title)
        return {"state": "done", "summary": "near", "works": False, "undecided": True}


async def _ended(jobs: Jobs) -> None:
    while any(job.state in OPEN for job in jobs):
        await asyncio.sleep(0.01)


def test_a_full_disk_fails_its_job_and_the_next_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    jobs = Jobs(tmp_path)
    for title in ("first", "second"):
        jobs.add("run", title, {}, {})
    put = jobs.put

    def full(job: Job) -> None:
        if job.title == "first":
            raise OSError(28, "No space left on device")
        put(job)

    monkeypatch.setattr(jobs, "put", full)

    async def worked() -> None:
        runner = Stub(jobs)
        runner.starting.set()
        work = asyncio.create_task(runner.work())
        await asyncio.wait_for(_ended(jobs), 5.0)
        assert not work.done()
        work.cancel()

    asyncio.run(worked())
    first, second = jobs
    assert (first.state, second.state) == ("failed", "done")
    assert "No space left on device" in first.summary
    assert [job.undecided for job in Jobs(tmp_path)] == [False, True]


def test_a_job_stopped_while_the_worker_starts_is_not_run(tmp_path: Path) -> None:
    jobs = Jobs(tmp_path)
    job = jobs.add("run", "stopped", {}, {})

    async def worked() -> Stub:
        runner = Stub(jobs)
        carried = asyncio.create_task(runner._carry_out(job))
        await asyncio.sleep(0.0)
        await runner.stop(jobs.get(job.id) or job)
        runner.starting.set()
        await carried
        return runner

    assert asyncio.run(worked()).asked == []
    assert [job.state for job in jobs] == ["stopped"]


def test_the_result_is_the_command_line_s_byte_for_byte(tmp_path: Path) -> None:
    here, there = tmp_path / "page", tmp_path / "command"
    for folder in (here, there):
        folder.mkdir()
        (folder / "case.toml").write_text(SMALL)
    said: list[dict[str, Any]] = []
    ended = carry_out(here, {"kind": "run", "options": {}}, said.append)
    asked = there / "case.toml", there / "result", (), None, "compiled", None, False, 2.0, ()
    run_command(*asked, None, False, Left())
    assert (ended["works"], ended["undecided"]) == (True, False)
    assert any("segment" in each["text"] and "1400 degC" in each["text"] for each in said)
    ours, theirs = (
        {
            path.relative_to(folder).as_posix(): path.read_bytes()
            for path in sorted((folder / "result").rglob("*"))
            if path.is_file()
        }
        for folder in (here, there)
    )
    assert list(ours) == list(theirs)
    assert len(ours) > 10
    for name in ours:
        pair = [_timeless(name, text) for text in (ours[name], theirs[name])]
        assert pair[0] == pair[1], name
    view = json.loads((here / "view.json").read_text())
    told = json.loads(ours["result/outcomes.json"])
    assert view["total_s"] == pytest.approx(told["time"]["total_s"])
    peak = max(max(s["peak"]) for s in view["surfaces"] if s["name"] == "tube outside")
    assert peak == pytest.approx(told["tube"]["peak_C"], abs=0.51)
    frames = len((here / "frames.bin").read_bytes()) // 2
    parts = view["solid_view"]["parts"]
    size = sum(part["rows"] * part["layers"] for part in parts)
    assert frames == size * (1 + len(view["solid_view"]["time"]))
    assert all(len(part["r"]) == len(part["z"]) == part["rows"] + 1 for part in parts)


def test_a_study_of_more_than_a_day_is_refused(tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text(SMALL)
    with pytest.raises(CaseError, match="at most 24 hours"):
        carry_out(tmp_path, {"kind": "risk", "options": {"samples": 10**12}}, lambda _: None)


def _timeless(name: str, content: bytes) -> bytes:
    """Content without how long the march took on the clock of the wall: all else is the same."""
    if name not in ("result/outcomes.json", "result/report.html"):
        return content
    lines = content.splitlines(keepends=True)
    less = [line for line in lines if b"wall_s" not in line and b"wall_clock" not in line]
    assert len(less) == len(lines) - 1
    return b"".join(less)


def test_the_view_needs_no_flange(tmp_path: Path) -> None:
    from lapheat import read_case, simulate
    from support.case_texts import BEAD

    path = tmp_path / "bead.toml"
    path.write_text(BEAD)
    result = simulate(read_case(path, ("travel.coverage=0.1",), "coarse"), keep=("film",))
    view = run_view(result)
    assert json.loads(json.dumps(view, allow_nan=False))["brazed"] is False
    assert view["levels"]["flow"] is None
    assert [surface["name"] for surface in view["surfaces"]] == ["tube outside", "tube bore"]


def test_a_study_whose_server_was_killed_goes_on_from_its_rows(tmp_path: Path) -> None:
    class KilledError(Exception):
        pass

    (tmp_path / "case.toml").write_text(SMALL)
    job: dict[str, Any] = {"kind": "sequences", "options": {}}
    said: list[dict[str, Any]] = []

    def killed(told: dict[str, Any]) -> None:
        if (told.get("share") or 0.0) > 0.4:
            raise KilledError

    with pytest.raises(KilledError):
        carry_out(tmp_path, job, killed)
    rows = tmp_path / "rows.jsonl"
    assert rows.read_text("utf-8").count("\n") >= 1
    ended = carry_out(tmp_path, job, said.append)
    assert ended["summary"]
    assert not rows.exists()
    assert next(told["share"] for told in said if told.get("share") is not None) > 0.1
    assert (tmp_path / "result" / "sequences.json").is_file()


def test_rows_that_were_kept_do_not_shorten_what_is_left(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter((0.0, 0.0, 10.0))
    monkeypatch.setattr(worker, "monotonic", lambda: next(clock))
    said: list[dict[str, Any]] = []
    pace = worker._Pace(said.append)
    pace.told("runs", 230, 256)
    pace.told("runs", 232, 256)
    assert said[0]["left_s"] is None
    assert said[1] == {"text": "runs, 232 of 256", "share": 232 / 256, "left_s": 10.0 / 2 * 24}
