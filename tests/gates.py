"""Does every gate of `.ci/run` stop bad input? ``python tests/gates.py [--slow] [NAME ...]``.

For each gate the project is copied, its own lines are taken out of `.ci/run` and run: on the copy
as it is they must pass, with one thing spoiled they must fail. With `--slow` also the gates that
need the network: the oldest versions (resolved, not installed) and the wheel with no repository
beside it (on the packages of this environment). It ends with status 1 if a gate let bad input by.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[1]
PY = Path(sys.executable).parent
Spoil = Callable[[Path], object]


def added(path: str, text: str) -> Spoil:
    """Put text at the end of a file, a new one if there is none."""
    return lambda root: (root / path).open("a", encoding="utf-8").write(text)


def project(old: str, new: str, path: str = "pyproject.toml") -> Spoil:
    """Replace text of a file that holds it."""
    return lambda root: (root / path).write_text(new.join((root / path).read_text().split(old, 1)))


class Gate(NamedTuple):
    """`lines` are beginnings of lines of `.ci/run`; `before` is bash that stands for the rest."""

    name: str
    bad: str
    spoil: Spoil
    lines: tuple[str, ...]
    before: str = ""
    slow: bool = False


# stands for an environment that would take minutes to install, and runs one file of tests in it
FAKE = """mkdir -p "$work/{0}/bin"; printf '#!/bin/sh\\n' | tee "$work/{0}/bin/pip" "$work/python3"
printf '#!/bin/bash\\nexec %s "${{@:1:{1}}}" {2}\\n' "$py/python" > "$work/{0}/bin/python"
chmod +x "$work/{0}/bin/"* "$work/python3"; PATH=$work:$PATH"""
UV = """"$py/python" -m pip install -q --target "$work/uv" uv; py=$work/uv/bin PYTHONPATH=$work/low
low=("$py/uv" pip install -q --python-version 3.11 --target "$work/low" {}); export PYTHONPATH"""
LINE = ("line=$(grep", '[ -n "$line" ]', "line=${line//", "bash -euo pipefail -c")
AWAY = ('"${low[@]}" --no-deps', 'mkdir "$work/away', "cp cases", '(cd "$work', '[ -s "$work/away')
UNITS, HOUSE = "tests/rooms/case/test_units.py", "tests/rooms/test_house.py"
FAILS, HATCH = "\n\ndef test_bad() -> None:\n    raise AssertionError\n", "wheel]\n"
MODULE, LONG = "sim/lapheat/constants.py", "sim/lapheat/long.py"
COLON = '\n\ndef f(x):\n    """F.\n\n    Parameters\n    ----------\n    x: int\n    """'
SDIST = project('"numpy>=2.0"', '"numpy>=2.0", "docopt"')  # docopt has never had a wheel
GATES = (
    Gate("README", "no test line", project("-m pytest", "", "README.md"), LINE[:2]),
    Gate("tests", "one fails", added(HOUSE, FAILS), LINE, FAKE.format("venv", 4, HOUSE)),
    Gate("format", "two spaces", added(MODULE, "SPOILED =  1\n"), ('"$py/ruff" format',)),
    Gate("ruff", "unused import", added(MODULE, "import os\n"), ('"$py/ruff" check',)),
    Gate("mypy", "no types", added(MODULE, "def f(x): return x\n"), ("MYPYPATH=sim",)),
    Gate("imports", "upwards", added(MODULE, "from . import api\n"), ("PYTHONPATH=sim",)),
    Gate("numpydoc", "a colon", added(MODULE, COLON), ('"$py/python" -m numpydoc',)),
    Gate("400 lines", "401", added(LONG, "#\n" * 401), ("long=", '[ -z "$long')),
    Gate("top level", "a file", added("notes.txt", "-\n"), ("extra=", '[ -z "$extra')),
    Gate("tests, oldest", "one fails", added(UNITS, FAILS), ('"$work/low/bin/python" -m',),
         FAKE.format("low", 6, UNITS)),
    Gate("oldest", "no wheel of one", SDIST, ('"${low[@]}" --resolution',),
         UV.format("--dry-run"), slow=True),
    Gate("wheel", "no data in it", project(HATCH, HATCH + 'exclude = ["*.toml"]\n'),
         ('"$py/uv" build', *AWAY), UV.format(""), slow=True),
)  # fmt: skip


def script_of(gate: Gate) -> str:
    """Lines of a gate as `.ci/run` has them, each of which must be there once."""
    text = (ROOT / ".ci/run").read_text("utf-8").replace("\\\n", " ").splitlines()
    found = [[line for line in text if line.startswith(start)] for start in gate.lines]
    if any(len(each) != 1 for each in found):
        raise SystemExit(f"{gate.name}: .ci/run has not one line each for {gate.lines}")
    return "\n".join(["set -euo pipefail", gate.before, *(line for (line,) in found)])


def passes(gate: Gate, spoil: Spoil | None, cache: str) -> bool:
    """Whether a gate lets a copy of the project by."""
    with tempfile.TemporaryDirectory() as folder:
        root, work = Path(folder, "copy"), Path(folder, "work")
        work.mkdir()
        for name in subprocess.check_output(["git", "ls-files"], cwd=ROOT, text=True).splitlines():
            (root / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy2(ROOT / name, root / name)
        if spoil is not None:
            spoil(root)
        subprocess.run("git init -q && git add -A", shell=True, cwd=root, check=True)
        env = {**os.environ, "py": str(PY), "work": str(work), "MYPY_CACHE_DIR": cache}
        env.pop("PYTHONPATH", None)
        line = ["bash", "-c", script_of(gate)]
        return subprocess.run(line, cwd=root, env=env, capture_output=True).returncode == 0


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*")
    parser.add_argument("--slow", action="store_true")
    given = parser.parse_args()
    holds = True
    with tempfile.TemporaryDirectory() as cache:
        for gate in GATES:
            if gate.name in given.names if given.names else given.slow or not gate.slow:
                clean, spoiled = passes(gate, None, cache), passes(gate, gate.spoil, cache)
                good = clean and not spoiled
                holds = holds and good
                said = "stops it" if good else "LETS IT BY" if clean else "FAILS AS IT IS"
                print(f"{gate.name:14} {gate.bad:16} {said}", flush=True)
    sys.exit(not holds)
