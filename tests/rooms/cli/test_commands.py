"""`lapheat new`, `check` and `schema`, help, and terminals of any kind."""

from __future__ import annotations

import ctypes
import json
import os
import re
import resource
import shlex
import signal
import subprocess
import sys
from pathlib import Path
from time import sleep
from typing import Any

import pytest
import typer

import lapheat
from lapheat.cli import _lost
from lapheat.cli.app import app
from support.commands import CASE, Call

ROOT = Path(__file__).parents[3]


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.usefixtures("folder")
def test_new_writes_a_case_that_checks(call: Call) -> None:
    status, out, _ = call("new", "my stub.toml")
    assert status == 0
    assert out.splitlines() == [
        "my stub.toml written; next: lapheat check 'my stub.toml'",
        "(lapheat run replaces an earlier result in my stub.out)",
    ]
    status, out, err = call("check", "my stub.toml")
    assert (status, err) == (0, "")
    assert "tube.outside_diameter" in out
    assert re.search(r"^order +of segments, [a-z-]+: 1(, \d+)+$", out, re.MULTILINE)


@pytest.mark.usefixtures("folder")
def test_a_value_that_lost_its_quotes_is_told_to_have_them(call: Call) -> None:
    status, _, err = call("check", "stub.toml", "--set", "arc.current=80", "A")
    assert status == 2
    assert 'a value with a unit needs quotes: --set "arc.current=80 A"' in err
    torn = ("--vary", "travel.pause=2", "s:9", "s:3")
    assert '--vary "travel.pause=2 s:9 s:3"' in call("window", "stub.toml", *torn)[2]
    for given in (("stub.toml", "more"), ("--set", "arc.curent=60", "stub.toml")):
        status, _, err = call("check", *given)
        assert status == 2
        assert "quotes" not in err


def test_an_interrupt_that_a_callback_swallows_comes_again(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """Compiling calls back into Python; what is raised there is dropped, and a traceback shown."""
    monkeypatch.setattr(sys, "unraisablehook", _lost)
    dropped = ctypes.CFUNCTYPE(None)(lambda: signal.raise_signal(signal.SIGINT))
    dropped()

    def go_on() -> None:
        for _ in range(300):
            sleep(0.01)

    with pytest.raises(KeyboardInterrupt):
        go_on()
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(
    ("typed", "key", "given", "allowed"),
    [
        ("risk stub.toml --samples ten", "--samples", '"ten"', "a whole number from 16 to 65536"),
        ("risk stub.toml --samples=3", "--samples", '"3"', "a whole number from 16 to 65536"),
        ("risk stub.toml --within wide", "--within", '"wide"', "a number from 0 to 0.5"),
        ("find stub.toml --workers 0", "--workers", '"0"', "a whole number of 1 or more"),
        ("run --hours -3 stub.toml", "--hours", '"-3"', "a number of 0 or more"),
        ("run stub.toml --march foot", "--march", '"foot"', "compiled or fipy"),
        ("run stub.toml --film=1", "--film", '"1"', "no value: it is on if it is there"),
        ("run stub.toml --out", "--out", "nothing", "a value behind it"),
        ("run", "CASE", "nothing", "a case file (TOML)"),
        ("calibrate stub.toml", "MEASURED.csv", "nothing", "thermocouples: time_s and one column"),
        ("schema now", "lapheat schema", '"now"', "nothing more than its options"),
        ("new a.toml b c", "lapheat new", '"b c"', "nothing more than FILE and its options"),
        ("rnu stub.toml", "command", '"rnu"', "new, check, run, compare, find, "),
    ],
)
@pytest.mark.usefixtures("folder")
def test_a_bad_option_is_told_with_what_is_allowed(
    call: Call, typed: str, key: str, given: str, allowed: str
) -> None:
    """In the form of all refusals, whatever the library that reads the words would say."""
    status, out, err = call(*typed.split())
    assert (status, out) == (2, "")
    told = f"1 fault\n  {key}\n    given:   {given}\n    allowed: {allowed}"
    assert err.startswith(told)
    assert err.count("hint:") == 1


@pytest.mark.usefixtures("folder")
def test_a_misspelt_option_is_told_the_nearest(call: Call) -> None:
    status, _, err = call("run", "stub.toml", "--expain")
    assert status == 2
    assert "given:   an option that lapheat run does not have" in err
    assert 'did you mean "--explain"?' in err


def test_curly_quotes_are_told_to_be_straight(call: Call, folder: Path) -> None:
    text = (folder / "stub.toml").read_text("utf-8")
    (folder / "curly.toml").write_text(text + "\n[scatter]\nspot = \u201c10 %\u201d\n", "utf-8")
    status, _, err = call("check", "curly.toml")
    assert status == 2
    assert "quotes must be straight" in err


def test_new_leaves_no_half_file(call: Call, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop() -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr("lapheat.cli.new.starter_text", stop)
    status, _, err = call("new", "case.toml")
    assert (status, err) == (130, "interrupted: nothing was written\n")
    assert names(folder) == ["stub.toml"]


def test_check_shows_both_units_mesh_and_steps(call: Call, folder: Path) -> None:
    status, out, err = call("check", "stub.toml", "--detail", "coarse", "--set", "arc.voltage=12 V")
    assert (status, err) == (0, "")
    rows = [re.split(r"\s{2,}", line) for line in out.splitlines()]
    assert ["tube.outside_diameter", "1.5 in", "0.0381 m"] in rows
    assert ["tube.length", "4.5 in (default)", "0.1143 m"] in rows
    assert ["arc.voltage", "12 V", "12 V"] in rows
    (mesh,) = [row for row in rows if row[0] == "mesh"]
    section, layers = map(int, re.findall(r": (\d+) in the section, (\d+)", mesh[1])[0])
    assert mesh[1].startswith(f"{section * layers} cells")
    assert mesh[1].endswith("(coarse)")
    (steps,), (stages,) = (
        [row[1] for row in rows if row[0] == name] for name in ("steps", "stages")
    )
    found = [re.match(r"about (\d+)", told) for told in (steps, stages)]
    counts = [int(each[1]) for each in found if each is not None]
    assert counts[1] >= 3 * counts[0]  # the least that a step has
    mean = round(counts[1] / counts[0])
    assert stages.endswith(
        f"of the explicit march, {mean} in the mean step: each covers every cell"
    )
    assert ["computing", "some 10 s on one quiet, fast core"] in rows
    assert any(row[0] == "time" and row[1].startswith("8 of 8 segments") for row in rows)
    assert names(folder) == ["stub.toml"]


def test_check_tells_what_was_assumed(call: Call, folder: Path) -> None:
    (folder / "stub.toml").write_text(CASE.replace('voltage = "11 V"', ""), "utf-8")
    _, out, _ = call("check", "stub.toml")
    assert "No arc voltage was given: 13.6 V was taken" in out


def test_schema_is_json(call: Call) -> None:
    status, out, _ = call("schema")
    assert status == 0
    assert "outside_diameter" in json.dumps(json.loads(out))


def test_version(call: Call) -> None:
    assert call("--version") == (0, f"lapheat {lapheat.__version__}\n", "")


@pytest.mark.parametrize("command", [[], ["new"], ["check"], ["run"], ["schema"]])
def test_help_is_complete_with_an_example(call: Call, command: list[str]) -> None:
    status, out, _ = call(*command, "--help")
    assert status == 0
    lines = [line.strip() for line in out.splitlines()]
    assert any(line.startswith(f"lapheat {command[0] if command else 'new'} ") for line in lines)
    assert not [line for line in lines if "  lapheat " in line]  # each example on its own line
    assert "\\b" not in out
    known: Any = typer.main.get_command(app)
    known = known.commands[command[0]] if command else known
    for option in known.params:
        assert option.opts[0] in out or option.human_readable_name in out
        assert getattr(option, "help", "") not in (None, "")


def _shell(line: str, **changes: str) -> subprocess.CompletedProcess[str]:
    script = f"{shlex.quote(sys.executable)} -c 'from lapheat.cli import main; main()'"
    return subprocess.run(
        ["bash", "-o", "pipefail", "-c", line.replace("lapheat", script)],
        env={**os.environ, "PYTHONPATH": str(ROOT / "sim"), **changes},
        capture_output=True,
        text=True,
    )


@pytest.mark.usefixtures("folder")
@pytest.mark.parametrize("command", ["check stub.toml", "schema"])
def test_a_reader_that_has_seen_enough_is_no_failure(command: str) -> None:
    done = _shell(f"lapheat {command} | true")
    assert (done.returncode, done.stderr) == (0, "")


def test_an_ascii_terminal_is_no_failure(folder: Path) -> None:
    (folder / "stub.toml").write_text(CASE.replace("A stub", "\u00c9\u4e2d"), "utf-8")
    done = _shell("lapheat check stub.toml", PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, "")
    assert "\\u4e2d" in done.stdout


def test_a_full_disk_leaves_no_torn_starter(folder: Path) -> None:
    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (10, 10))

    start = "from lapheat.cli import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", start, "new", "joint.toml"], cwd=folder, preexec_fn=limit,
        env=os.environ | {"PYTHONPATH": str(ROOT / "sim")}, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert (done.returncode, "File too large" in done.stderr) == (2, True)
    assert names(folder) == ["stub.toml"]
