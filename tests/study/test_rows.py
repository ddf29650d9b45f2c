"""Rows on disk: resumed, torn, sorted, and killed ten times over."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
import time
from hashlib import sha256
from pathlib import Path

import pytest

from lapheat.case.faults import CaseError
from lapheat.cli.terminal.exits import Left
from lapheat.cli.terminal.sweep import kept_rows
from lapheat.study.runs import Processes, RowFile, Serial, collect
from lapheat.study.runs import store as store_of_rows
from lapheat.study.runs.executors import Row
from lapheat.study.runs.store import reads
from study.stand_in import Number, die_always, square

ROOT = Path(__file__).parents[2]
NUMBERS = [Number(value) for value in range(6)]


def swept(path: Path | None, resume: bool = False, count: int = 6) -> tuple[list[object], int]:
    """Rows of the first numbers, and how many had to be run."""
    ran: list[int] = []
    with RowFile(path, resume) as store:
        rows = collect(Serial(), square, NUMBERS[:count], store, lambda done, _: ran.append(done))
    return [row["square"] for row in rows], len(ran) - 1


def test_rows_come_in_the_order_of_the_tasks_and_equal_tasks_run_once() -> None:
    twice = [*NUMBERS, NUMBERS[2]]
    told: list[tuple[int, int]] = []
    rows = collect(Serial(), square, twice, RowFile(), lambda *at: told.append(at))
    assert [row["square"] for row in rows] == [0.0, 1.0, 4.0, 9.0, 16.0, 25.0, 4.0]
    assert told == [(n + 1, 7) for n in range(7)]


def test_only_what_is_missing_is_run(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "rows.jsonl"
    assert swept(path, count=4) == ([0.0, 1.0, 4.0, 9.0], 4)
    assert swept(path, resume=True) == ([0.0, 1.0, 4.0, 9.0, 16.0, 25.0], 2)
    assert swept(path, resume=True)[1] == 0
    assert swept(path, resume=False)[1] == 6


@pytest.mark.parametrize("torn", ['{"key": "number 5", "ro', '{"key": 3}\n', "x\n", "[1]\n", "\n"])
def test_a_torn_end_is_dropped(tmp_path: Path, torn: str) -> None:
    path = tmp_path / "rows.jsonl"
    swept(path, count=4)
    whole = path.read_bytes()
    path.write_bytes(whole + torn.encode())
    with RowFile(path, resume=True) as store:
        assert len(store.rows) == 4
    assert path.read_bytes() == whole


def test_a_first_line_torn_is_dropped(tmp_path: Path) -> None:
    path = tmp_path / "rows.jsonl"
    for torn in ('{"ke', '{"key": "number 0", "row": {"squ'):
        path.write_text(torn)
        assert swept(path, resume=True, count=2) == ([0.0, 1.0], 2)


def summed(told: str) -> str:
    """A line with a checksum that is right."""
    return f'{told[:-1]}, "sum": "{sha256(told.encode()).hexdigest()[:16]}"}}'


WRONG = {
    "a number changed": lambda line: line.replace("1.0", "2.0"),
    "another key": lambda line: line.replace("number 1", "number 9"),
    "a text for a number": lambda line: line.replace("1.0", '"1.0"'),
    "a blank more": lambda line: line.replace(", ", ",  "),
    "no checksum": lambda _: '{"key": "number 1", "row": {"square": 1.0, "failed": null}}',
    "no row": lambda _: '{"key": {}}',
    "a list for a row": lambda _: summed('{"key": "number 1", "row": []}'),
    "an empty row": lambda _: summed('{"key": "number 1", "row": {}}'),
    "a row in a row": lambda _: summed('{"key": "number 1", "row": {"a": {}, "failed": null}}'),
    "not a number": lambda _: summed('{"key": "number 1", "row": {"square": NaN, "failed": null}}'),
    "without end": lambda _: summed('{"key": "number 1", "row": {"a": Infinity, "failed": null}}'),
    "a number that failed": lambda _: summed('{"key": "number 1", "row": {"failed": 7}}'),
    "no key": lambda _: summed('{"key": 1, "row": {"square": 1.0, "failed": null}}'),
    "5000 brackets": lambda _: "[" * 5000,
    "5000 digits": lambda _: '{"key": "number 1", "row": {"square": ' + "9" * 5000 + "}}",
    "no UTF-8": lambda line: line.replace("number", "n\udcfcmber"),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_damaged_row_is_run_anew_and_said(tmp_path: Path, what: str) -> None:
    """Whatever is wrong with the second of four rows, the others are still used."""
    path = tmp_path / "rows.jsonl"
    swept(path, count=4)
    lines = path.read_text().splitlines()
    lines[1] = WRONG[what](lines[1])
    path.write_text("\n".join(lines) + "\n", errors="surrogateescape")
    with RowFile(path, resume=True) as store:
        assert (store.damaged, len(store.rows)) == (1, 3)
    assert swept(path, resume=True, count=4) == ([0.0, 1.0, 4.0, 9.0], 1)
    assert swept(path, resume=True, count=4) == ([0.0, 1.0, 4.0, 9.0], 0)


def test_a_command_says_how_many_rows_are_damaged(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, kept = tmp_path / "out", tmp_path / "out.rows.jsonl"
    folder.mkdir()
    for path in (kept, folder / "rows.jsonl"):
        swept(path, count=3)
        path.write_text(path.read_text().replace("1.0", "7.0"))
    with kept_rows(folder, True, Left()) as store:
        assert store.rows.keys() == {"number 0", "number 2"}
    assert "2 kept rows are damaged: their runs are made anew" in capsys.readouterr().err


def of_stand_in(task: Number, row: Row) -> None:
    del task
    if not isinstance(row["square"], float):
        raise TypeError


@pytest.mark.parametrize(
    "told",
    ['{"other": 1.0, "failed": null}', '{"square": "1.0", "failed": null}', '{"failed": null}'],
)
def test_a_forged_row_is_run_anew_and_said(
    tmp_path: Path,
    told: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Its checksum is right, its columns are not those that the work gives."""
    monkeypatch.setattr(store_of_rows, "_READERS", {})
    reads(square, of_stand_in)
    kept = tmp_path / "out.rows.jsonl"
    swept(kept, count=4)
    lines = kept.read_text().splitlines()
    lines[1] = summed(f'{{"key": "number 1", "row": {told}}}')
    kept.write_text("\n".join(lines) + "\n")
    ran: list[int] = []
    with kept_rows(tmp_path / "out", True, Left()) as store:
        rows = collect(Serial(), square, NUMBERS[:4], store, lambda done, _: ran.append(done))
        store.write_used(tmp_path / "used.jsonl")
    assert [row["square"] for row in rows] == [0.0, 1.0, 4.0, 9.0]
    assert ran == [3, 4]
    assert "1 kept rows do not fit this version; those runs are repeated." in (
        capsys.readouterr().err
    )
    with RowFile() as clean:
        collect(Serial(), square, NUMBERS[:4], clean)
        clean.write_used(tmp_path / "clean.jsonl")
    assert (tmp_path / "used.jsonl").read_bytes() == (tmp_path / "clean.jsonl").read_bytes()


@pytest.mark.parametrize("resume", [True, False])
@pytest.mark.parametrize("text", ["my own notes\n", "no end", '{"key": {}}\n', "[]\n[]\n", "\n"])
def test_a_file_that_holds_no_rows_is_left_alone(tmp_path: Path, text: str, resume: bool) -> None:
    path = tmp_path / "out.rows.jsonl"
    path.write_text(text)
    refused = "a file that holds no kept row"
    with pytest.raises(CaseError, match=refused), kept_rows(tmp_path / "out", resume, Left()):
        pass
    with pytest.raises(CaseError, match=refused):
        RowFile(path, resume)
    assert path.read_text() == text


@pytest.mark.parametrize("resume", [True, False])
def test_no_link_is_followed(tmp_path: Path, resume: bool) -> None:
    kept, target = tmp_path / "out.rows.jsonl", tmp_path / "target"
    kept.symlink_to(target)
    for text in (None, "dear\n", '{"key": "torn'):
        if text is not None:
            target.write_text(text)
        with pytest.raises(CaseError, match="a link"), kept_rows(tmp_path / "out", resume, Left()):
            pass
        assert (target.read_text() if text else target.exists()) == (text or False)
    kept.unlink()
    os.mkfifo(kept)
    with pytest.raises(CaseError, match="not a regular file"):
        RowFile(kept, resume)


def test_a_last_line_without_its_end_is_dropped(tmp_path: Path) -> None:
    path = tmp_path / "rows.jsonl"
    swept(path, count=2)
    path.write_bytes(path.read_bytes().rstrip(b"\n"))
    assert swept(path, resume=True, count=2) == ([0.0, 1.0], 1)


def test_a_run_lost_with_its_workers_is_tried_again(tmp_path: Path) -> None:
    path = tmp_path / "rows.jsonl"
    with Processes(1) as pool, RowFile(path) as store:
        rows = collect(pool, die_always, NUMBERS[:4], store)
    assert rows[3]["lost"] is True
    assert swept(path, resume=True, count=4) == ([0.0, 1.0, 4.0, 9.0], 1)
    assert swept(path, resume=True, count=4) == ([0.0, 1.0, 4.0, 9.0], 0)


def test_what_is_written_at_the_end_is_what_was_asked_for(tmp_path: Path) -> None:
    with RowFile(tmp_path / "rows.jsonl") as store:
        store.add("an earlier sweep's", {"failed": None})
        collect(Serial(), square, NUMBERS[:2], store)
        store.write_used(tmp_path / "used.jsonl")
        store.close(remove=True)
    lines = [json.loads(line) for line in (tmp_path / "used.jsonl").read_text().splitlines()]
    assert [line["key"] for line in lines] == ["number 0", "number 1"]
    assert not (tmp_path / "rows.jsonl").exists()


def test_killed_ten_times_at_random_moments_the_file_is_the_same(tmp_path: Path) -> None:
    kept, written = tmp_path / "kept.jsonl", tmp_path / "written.jsonl"
    count = 300
    path = os.pathsep.join([str(ROOT / "sim"), str(ROOT / "tests")])
    environment = {**os.environ, "PYTHONPATH": path}
    command = [sys.executable, "-m", "study.stand_in", str(kept), str(written), str(count)]
    chance = random.Random(6)
    for _ in range(10):
        wanted = _lines(kept) + chance.randint(3, 20)
        with subprocess.Popen(command, env=environment) as sweep:
            while _lines(kept) < wanted and sweep.poll() is None:
                time.sleep(0.001 * chance.random())
            sweep.kill()
        assert sweep.returncode == -9
        torn = chance.randrange(3)  # as a power cut would leave it
        if torn:
            os.truncate(kept, kept.stat().st_size - chance.randint(1, 30) * (torn - 1))
    assert not written.exists()
    before = _lines(kept)
    assert 0 < before < count
    subprocess.run(command, env=environment, check=True)
    with RowFile() as store:
        collect(Serial(), square, [Number(value) for value in range(count)], store)
        store.write_used(tmp_path / "uninterrupted.jsonl")
    assert written.read_bytes() == (tmp_path / "uninterrupted.jsonl").read_bytes()
    assert _lines(kept) == count


def _lines(path: Path) -> int:
    return path.read_bytes().count(b"\n") if path.exists() else 0
