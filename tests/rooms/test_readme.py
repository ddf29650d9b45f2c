"""What the README says holds: its commands, its case, its keys, its alloys."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest
import typer

from lapheat.case.alloys import builtin_names
from lapheat.case.file import read_case_text
from lapheat.case.keys.schema import every_key
from lapheat.cli.app import app

ROOT = Path(__file__).parents[2]

README = (ROOT / "README.md").read_text("utf-8")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", README, re.MULTILINE | re.DOTALL)


def _readme_lines() -> list[str]:
    steps = [step.strip() for block in blocks("console") for line in block.splitlines() for step in
             line.split("&&")]  # fmt: skip
    return [step.removeprefix(".venv/bin/") for step in steps]


@pytest.mark.parametrize("line", [s for s in _readme_lines() if s.startswith("lapheat")])
def test_every_command_of_the_readme_is_understood(line: str) -> None:
    _, command, *arguments = shlex.split(line)
    # parses, and refuses what it does not know, without running
    with typer.main.get_command(app).commands[command].make_context(command, arguments) as context:
        assert context.params["file" if command == "new" else "case"] is not None


def test_readme_has_one_line_for_the_demo_and_one_for_the_tests() -> None:
    demo, tests = blocks("console")[:2]
    assert [len(block.splitlines()) for block in (demo, tests)] == [1, 1]
    assert demo.startswith("python3 -m venv .venv && .venv/bin/pip install -q . && ")
    assert demo.endswith(".venv/bin/lapheat run cases/flue-stub.toml\n")
    assert tests.endswith("pip install -q '.[test]' && .venv/bin/python -m pytest -n 2\n")


def test_readme_case_is_a_whole_case() -> None:
    (text,) = blocks("toml")
    case = read_case_text(text, "README.toml")
    assert case.segment_count == 8


def test_readme_names_every_key_of_a_case() -> None:
    table = README.partition("| table | keys |")[2].partition("\n\n")[0]
    named = re.findall(r"`([a-z_]+)`", table)
    assert sorted(named) == sorted(key.rpartition(".")[2] for key in every_key())


def test_readme_names_every_built_in_alloy() -> None:
    listed = README.partition("Built-in alloys:")[2].partition("\n\n")[0]
    assert sorted(re.findall(r"`([^`]+)`", listed)) == sorted(builtin_names())


def test_readme_shows_four_pictures_at_most_and_leads_to_files_that_exist() -> None:
    pictures = re.findall(r"!\[[^]]+\]\(([^)#]+)\)", README)
    assert 1 <= len(pictures) <= 4
    links = re.findall(r"\]\(([^)#]+)(?:#([a-z-]+))?\)", README)
    assert [name for name, _ in links if not (ROOT / name).exists()] == []
    heads = {
        head.lower().replace(" ", "-")
        for head in re.findall(
            r"^#+ (.+)$", (ROOT / "DEVELOPERS.md").read_text("utf-8"), re.MULTILINE
        )
    }
    assert {anchor for _, anchor in links if anchor} <= heads
