"""`lapheat run`: exit statuses, messages, what is written and what is not, Ctrl-C."""

from __future__ import annotations

import json
import os
import pty
import re
import signal
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

import lapheat.api
import lapheat.report.figures
import lapheat.report.sheet
from lapheat.api import Result
from lapheat.cli.terminal import progress
from lapheat.cli.terminal.progress import Meter
from lapheat.history.records import History
from lapheat.march.errors import MarchError
from lapheat.march.march import Progress
from lapheat.outcomes.from_history import outcomes_of
from lapheat.report.sentences import CAUTIONS
from support.commands import CASE, Call
from support.runs import run_with
from support.synthetic import FLOW, STAINLESS_SOLIDUS

ROOT = Path(__file__).parents[3]
README = (ROOT / "README.md").read_text("utf-8")

BEAD = """
joint = "bead-on-tube"
[tube]
outside_diameter = "38.1 mm"
wall = "1.65 mm"
[arc]
current = "40 A"
[travel]
speed = "3 mm/s"
segment = "15 mm"
pause = "10 s"
coverage = 0.5
"""


@pytest.fixture
def computed(monkeypatch: pytest.MonkeyPatch) -> Callable[[History | BaseException], list[Any]]:
    """Put a made-up run, or a failure, in the place of the march and the figures."""

    def use(history: History | BaseException) -> list[Any]:
        calls: list[Any] = []

        def simulate(*arguments: Any, hours: float, keep: tuple[str, ...], keeper: None) -> Result:
            del keep, keeper
            assert hours == 2.0
            calls.append((*arguments, list(sys.argv)))
            if isinstance(history, BaseException):
                raise history
            case = history.case
            assert case is not None
            return Result(case, history, outcomes_of(history))

        def save(_: History, where: Path) -> tuple[Path, ...]:
            where.mkdir()
            (where / "peaks.png").write_bytes(b"png")
            return (where / "peaks.png",)

        monkeypatch.setattr(lapheat.api, "simulate", simulate)
        monkeypatch.setattr(lapheat.report.figures, "save_figures", save)
        monkeypatch.setattr(lapheat.report.sheet, "save_sheet", lambda *_: ())
        return calls

    return use


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# ---- the answer -------------------------------------------------------------------------------

HOT = {"tube": STAINLESS_SOLIDUS + 30.0}
COLD = {"flange_dry": ((0.0, 90.0, FLOW - 91.0),)}
GOOD: dict[str, Any] = {}


@pytest.mark.parametrize(
    ("run", "strict", "status"),
    [(GOOD, 0, 0), (GOOD, 1, 0), (HOT, 0, 0), (HOT, 1, 1), (COLD, 0, 0), (COLD, 1, 1)],
)
def test_verdict_changes_the_status_only_when_asked(
    call: Call, folder: Path, computed: Any, run: dict[str, Any], strict: int, status: int
) -> None:
    computed(run_with(**run))
    found, out, err = call("run", "stub.toml", *["--fail-on-verdict"] * strict)
    assert (found, err) == (status, "")
    told = json.loads((folder / "stub.out" / "outcomes.json").read_text("utf-8"))
    assert f"Verdict: {told['verdict']['summary']}" in out.splitlines()


def test_report_has_table_verdict_notes_cautions_and_files(
    call: Call, folder: Path, computed: Any
) -> None:
    computed(run_with(tube=STAINLESS_SOLIDUS - 100.0, case={"assumed": ("Taken for granted.",)}))
    _, out, _ = call("run", "stub.toml")
    lines = out.splitlines()
    tube = next(line for line in lines if line.startswith("tube "))
    assert re.split(r"\s{2,}", tube) == ["tube", "1300 degC", "1400 degC", "100 K", "50 K"]
    side = next(line for line in lines if line.startswith("flange side"))
    assert re.split(r"\s{2,}", side) == ["flange side", "1105 degC", "1025 degC", "80 K", "10 K"]
    assert any(line.startswith("wet") and "100 % of the tube side" in line for line in lines)
    assert any(line.startswith("run") and "heat closes to" in line for line in lines)
    order = [out.index(word) for word in ("Verdict: ", "\nNotes\n", "\nCautions\n", "\nFiles in ")]
    assert order == sorted(order)
    for told in ("Taken for granted.", *CAUTIONS):
        assert f"  {told}" in lines
    assert f"Files in {folder / 'stub.out'}" in lines
    assert len(lines) <= 36  # notes of what is unknown among them
    assert "\x1b" not in out
    assert all(line == line.rstrip() for line in lines)


def test_a_dry_stretch_shows_beside_the_sides(call: Call, folder: Path, computed: Any) -> None:
    """10 of 360 degrees leave a side wet enough, but are longer than a dry stretch may be."""
    computed(run_with(flange_dry=((0.0, 10.0, FLOW - 91.0),)))
    _, out, _ = call("run", "stub.toml")
    filler = json.loads((folder / "stub.out" / "outcomes.json").read_text("utf-8"))["filler"]
    surplus = {name: filler[f"{name}_surplus_K"] for name in ("flange_side", "stretch")}
    assert surplus["stretch"] < 0.0 < surplus["flange_side"]
    for name, said in (("flange_side", "flange side"), ("stretch", "stretch over 3.0 mm")):
        (row,) = (line for line in out.splitlines() if line.startswith(f"{said} "))
        assert re.split(r"\s{2,}", row)[3] == f"{surplus[name]:.0f} K"


@pytest.mark.usefixtures("folder")
def test_where_no_stretch_can_be_too_long_none_is_told(call: Call, computed: Any) -> None:
    history = run_with()
    assert history.case is not None
    limits = replace(history.case.limits, dry_length=1.0)
    computed(replace(history, case=replace(history.case, limits=limits)))
    out = call("run", "stub.toml")[1]
    assert "flange side" in out
    assert "stretch over" not in out
    assert " inf" not in out


@pytest.mark.usefixtures("folder")
def test_several_faults_have_a_line_each(call: Call, computed: Any) -> None:
    computed(run_with(**HOT, **COLD))
    out = call("run", "stub.toml")[1].splitlines()
    after = out[out.index("Verdict:") + 1 :]
    faults = after[: after.index("Notes")]
    assert [line.partition(":")[0] for line in faults] == [
        "  The tube melts",
        "  The filler does not flow on the flange side",
    ]
    assert all(line.endswith(".") for line in faults)


def test_run_passes_everything_on(call: Call, folder: Path, computed: Any) -> None:
    calls = computed(run_with())
    changes = ["--set", "travel.pause=30 s", "--set", "arc.current=80 A"]
    options = ["--detail", "fine", "--march", "fipy", "--threads", "1", "--out", "elsewhere/out"]
    status, _, _ = call("run", "stub.toml", *changes, *options)
    assert status == 0
    ((case, march, threads, _, shorter, argv),) = calls
    assert (case.travel.pause, case.arc.current, case.detail) == (30.0, 80.0, "fine")
    assert (march, threads, shorter) == ("fipy", 1, 1.0)
    assert argv == ["lapheat"]  # FiPy would look for its flags there
    assert (folder / "elsewhere" / "out" / "outcomes.json").exists()


# ---- refused ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["run", "absent.toml"], "no such file"),
        (["run", "."], "a folder"),
        (["run", "stub.toml", "--set", "travel.paus=3 s"], 'did you mean "pause"?'),
        (["run", "stub.toml", "--set", "nonsense"], "KEY=VALUE"),
        (["run", "stub.toml", "--detail", "ultra"], "--detail"),
        (["run", "stub.toml", "--march", "fast"], "--march"),
        (["run", "stub.toml", "--threads", "0"], "--threads"),
        (["run", "stub.toml", "--out", "stub.toml"], "given:   a file"),
        (["run", "stub.toml", "--out", "."], "a folder with other things in it"),
        (["run", "stub.toml", "--nosuch"], "--nosuch"),
        (["run"], "CASE"),
        (["brew"], "brew"),
        (["check", "absent.toml"], "no such file"),
        (["check", "stub.toml", "--set", "tube.wall=-1 mm"], "tube.wall"),
        (["new", "stub.toml"], "a file that is already there"),
        (["new", "."], "a folder"),
        (["new", "absent/case.toml"], "absent, which is not there"),
        (["new", "a\0b"], "null byte"),
    ],
)
def test_refused_input(
    call: Call, folder: Path, computed: Any, arguments: list[str], says: str
) -> None:
    calls = computed(run_with())
    before = (folder / "stub.toml").read_bytes()
    status, out, err = call(*arguments)
    assert status == 2
    assert says in err
    assert out == ""
    assert "Traceback" not in err
    assert calls == []
    assert names(folder) == ["stub.toml"]
    assert (folder / "stub.toml").read_bytes() == before


def test_all_faults_of_a_case_are_told(call: Call, folder: Path) -> None:
    text = CASE.replace("[tube]", '[tube]\nwal = "2 mm"')
    (folder / "stub.toml").write_text(text.replace('"90 A"', '"90 V"'), "utf-8")
    status, _, err = call("check", "stub.toml")
    assert status == 2
    assert "stub.toml: 2 faults" in err
    assert "tube.wal" in err
    assert "arc.current" in err


# ---- failed -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (MarchError("a temperature came out as not a number"), "the computation failed: a temp"),
        (ZeroDivisionError("division by zero"), "ZeroDivisionError: division by zero; --debug"),
        (MemoryError(), "ran out of memory"),
        (OSError(24, "Too many open files"), "the system refused: [Errno 24] Too many open files"),
    ],
)
@pytest.mark.parametrize("debug", [False, True])
def test_failed_computation(
    call: Call, folder: Path, computed: Any, error: Exception, says: str, debug: bool
) -> None:
    computed(error)
    status, out, err = call("run", "stub.toml", *["--debug"] * debug)
    assert status == 3
    assert says in err
    assert err.rstrip().endswith("nothing was written")
    assert ("Traceback" in err) is debug
    assert out == ""
    assert names(folder) == ["stub.toml"]


def test_full_disk(
    call: Call, folder: Path, computed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    computed(run_with())

    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(lapheat.report.figures, "save_figures", full)
    status, _, err = call("run", "stub.toml")
    assert status == 3
    assert err == (
        f"the results could not be written to {folder / 'stub.out'}: No space left on device; "
        "nothing was written\n"
    )
    assert names(folder) == ["stub.toml"]


# ---- interrupted ------------------------------------------------------------------------------


def test_interrupted_run_tells_that_an_earlier_result_is_kept(
    call: Call, folder: Path, computed: Any
) -> None:
    computed(run_with())
    call("run", "stub.toml")
    before = (folder / "stub.out" / "outcomes.json").read_bytes()
    computed(KeyboardInterrupt())
    status, _, err = call("run", "stub.toml")
    assert status == 130
    assert err == (
        f"interrupted: nothing was written; the earlier result in {folder / 'stub.out'} is "
        "untouched\n"
    )
    assert (folder / "stub.out" / "outcomes.json").read_bytes() == before


def test_interrupted_while_printing_tells_that_the_results_are_whole(
    call: Call, folder: Path, computed: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    computed(run_with())

    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("lapheat.cli.run.show", stop)
    status, _, err = call("run", "stub.toml")
    assert status == 130
    assert err == f"interrupted: the results are whole, in {folder / 'stub.out'}\n"


@pytest.mark.parametrize("when", ["preparing", "segment 1 "])
def test_ctrl_c_in_a_real_run(folder: Path, when: str) -> None:
    """On a terminal of its own, so that the progress bar tells how far it is."""
    own, theirs = pty.openpty()
    (folder / "bead.toml").write_text(BEAD, "utf-8")
    command = [sys.executable, "-c", "from lapheat.cli import main; main()"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT / "sim"), "TERM": "xterm", "COLUMNS": "150"}
    running = subprocess.Popen(
        [*command, "run", "bead.toml", "--out", "out", "--detail", "fine", "--threads", "1"],
        stdout=subprocess.PIPE,
        stderr=theirs,
        env=environment,
        cwd=folder,
    )
    os.close(theirs)
    seen = ""
    while when not in seen:
        seen += os.read(own, 4096).decode()
    running.send_signal(signal.SIGINT)
    rest = ""
    try:
        while chunk := os.read(own, 4096).decode():
            rest += chunk
    except OSError:  # how Linux says that the other end has closed
        pass
    out, _ = running.communicate()
    os.close(own)
    assert running.returncode == 130
    assert "interrupted: nothing was written" in rest
    assert "Traceback" not in rest
    assert out == b""
    assert names(folder) == ["bead.toml", "stub.toml"]
    if when == "segment 1 ":
        assert re.search(r"segment 1 \(1 of 4\), \d+\.\d s, tube \d+ of 1400 degC", seen + rest)


def test_progress_tells_segment_pause_and_what_is_nearest_to_melting() -> None:
    case = run_with().case
    assert case is not None
    meter = Meter(None, case, 100.0)

    def text(segment: int, done: int, tube: float = 700.0, flange: float = 900.0) -> str:
        where = Progress(segment, done, 3, 12.34, tube + 273.15, flange + 273.15)
        meter(where)
        return meter.text(where)

    assert text(0, 0).startswith("tacks, 12.3 s")
    assert text(1, 0) == "segment 1 (1 of 3), 12.3 s, flange 900 of 1490 degC"
    assert text(1, 1, tube=1300.0, flange=1350.0).endswith("tube 1300 of 1400 degC")
    assert text(1, 1).startswith("pause, 1 of 3 segments done")
    assert text(3, 1).startswith("segment 3 (2 of 3)")
    assert text(2, 2).startswith("segment 2 (3 of 3)")  # no pause between them
    assert text(2, 3).startswith("cooling")


@pytest.mark.parametrize(("begins", "told"), [(False, True), (True, False)])
def test_a_run_that_compiles_without_a_terminal_says_so(
    begins: bool, told: bool, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress, "PATIENCE", 0.5)
    case = run_with().case
    assert case is not None
    with progress.metered(case, 100.0) as meter:
        silence = meter.silence
        assert silence is not None
        if begins:
            meter(Progress(1, 0, 3, 0.1, 300.0, 300.0))
        silence.join()
    assert ("also compiles" in capsys.readouterr().err) == told


@pytest.mark.usefixtures("folder")
def test_a_title_the_terminal_lacks_or_that_steers_it_does_no_harm(
    call: Call, computed: Any
) -> None:
    case = run_with().case
    assert case is not None
    computed(run_with(case={"title": "[red]tube[/red] \x1b[31m \u4e2d"}))
    status, out, _ = call("run", "stub.toml")
    assert status == 0
    assert "[red]tube[/red]" in out
    assert "\x1b" not in out
