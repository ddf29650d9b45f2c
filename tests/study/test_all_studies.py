"""All studies alike: whoever runs them, and wherever they are cut, their files are the same."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from lapheat.case.file import CaseError
from lapheat.report.folder import check_folder
from lapheat.study.runs import Executor, Processes, Row, RowFile, Serial, drive
from lapheat.study.runs.executors import Task, Work
from study.every_study import STUDIES
from study.local_cluster import Local
from study.stand_in import Cut
from support.pictures import hold

DRAWN = ("window", "window of one key", "sequences", "risk", "explain")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Ask each test of every study, the test of pictures of those that draw the same anywhere.

    Where a search fits, the last digits of a machine may lead it elsewhere.
    """
    drawn = metafunc.function is test_its_picture_looks_as_it_did
    metafunc.parametrize("name", DRAWN if drawn else STUDIES)


class Backward(Serial):
    """The last task first: a machine on which the others take longer."""

    def run(self, work: Work[Task], tasks: Sequence[Task]) -> Iterator[tuple[int, Row]]:
        for index in reversed(range(len(tasks))):
            yield index, work(tasks[index])


def content(folder: Path) -> dict[str, bytes]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {str(path.relative_to(folder)): path.read_bytes() for path in files}


def written(name: str, executor: Executor, folder: Path, store: RowFile) -> dict[str, bytes]:
    """Files of a study."""
    study = STUDIES[name]
    study.write(drive(study.planner(), executor, store), folder, store)
    return content(folder)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> dict[str, dict[str, bytes]]:
    """Files of each study, run in turn without a break."""
    where = tmp_path_factory.mktemp("whole")
    return {name: written(name, Serial(), where / name, RowFile()) for name in STUDIES}


@pytest.fixture(scope="module")
def two() -> Iterator[Processes]:
    with Processes(2) as pool:
        yield pool


@pytest.fixture(scope="module")
def cluster() -> Iterator[Executor]:
    pytest.importorskip("dask.distributed")
    with Local() as local, local.of(2) as cluster:
        yield cluster


def test_whichever_run_ends_first(
    name: str, whole: dict[str, dict[str, bytes]], tmp_path: Path
) -> None:
    assert written(name, Backward(), tmp_path / "out", RowFile()) == whole[name]


def test_on_two_processes(
    name: str, whole: dict[str, dict[str, bytes]], two: Processes, tmp_path: Path
) -> None:
    assert written(name, two, tmp_path / "out", RowFile()) == whole[name]


def test_on_a_cluster(
    name: str, whole: dict[str, dict[str, bytes]], cluster: Executor, tmp_path: Path
) -> None:
    assert written(name, cluster, tmp_path / "out", RowFile()) == whole[name]


@pytest.mark.parametrize("share", [0.0, 0.1, 0.37, 0.62, 0.85, 0.999])
def test_cut_at_any_row_and_resumed(
    name: str, share: float, whole: dict[str, dict[str, bytes]], tmp_path: Path
) -> None:
    rows = whole[name]["rows.jsonl"].count(b"\n")
    after, kept = int(share * rows), tmp_path / "kept.jsonl"
    with pytest.raises(KeyboardInterrupt), RowFile(kept) as store:
        drive(STUDIES[name].planner(), Cut(after), store)
    with RowFile(kept, resume=True) as store:
        assert len(store.rows) == after
        assert written(name, Serial(), tmp_path / "out", store) == whole[name]
    assert kept.read_bytes().count(b"\n") == rows  # none was run twice


def test_progress_counts_up_to_all_that_was_asked_for(name: str) -> None:
    told: list[tuple[str, int, int]] = []
    store = RowFile()
    drive(STUDIES[name].planner(), Serial(), store, lambda *at: told.append(at))
    done = [done for _, done, _ in told]
    assert done == sorted(done)
    assert told[-1][1] == told[-1][2] >= len(store.used)
    assert all(0 <= done <= expected for _, done, expected in told)
    small = STUDIES[name]
    if small.most is not None:  # what it is said to take beforehand; a fit is no run
        runs = sum("thought" not in store.rows[key] for key in store.used)
        assert sum(small.least) <= runs <= sum(small.most)


def test_its_picture_looks_as_it_did(
    name: str, whole: dict[str, dict[str, bytes]], tmp_path: Path, rewrite: bool
) -> None:
    first = min(place for place in whole[name] if place.endswith(".png"))
    (tmp_path / "drawn.png").write_bytes(whole[name][first])
    kept = Path(__file__).with_name("pictures") / f"{name.replace(' ', '-')}.png"
    hold(tmp_path / "drawn.png", kept, rewrite)


def test_an_earlier_result_may_be_replaced_but_no_picture_of_the_users(
    name: str, whole: dict[str, dict[str, bytes]], tmp_path: Path
) -> None:
    ours = sys.modules[STUDIES[name].write.__module__].OURS
    for place, data in whole[name].items():
        (tmp_path / "out" / place).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "out" / place).write_bytes(data)
    check_folder(tmp_path / "out", ours)
    (tmp_path / "out" / "figures" / "mine.png").write_bytes(b"mine")
    with pytest.raises(CaseError, match=r"other things in it: figures/mine\.png"):
        check_folder(tmp_path / "out", ours)
