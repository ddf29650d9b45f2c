"""How fast the program is: ``python tests/speed/compare.py [--short] [--out FILE]``.

One table from one session: against FiPy and scikit-fem at the same error, against what the
machine's memory lets through, and how cost grows. Medians of several runs. Nothing is asserted:
numbers hang on the machine and on what else it does. `--short` takes under a minute.
"""

from __future__ import annotations

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # FiPy's short vectors: threads cost it dear
os.environ.setdefault("MPLBACKEND", "Agg")

import argparse
import platform
import time
import warnings
from pathlib import Path

import numba
from bench import Table
from growth import whole_run, with_cells, with_memory, with_threads, with_time
from limits import stage_against_limit
from rivals import against_elements, against_fipy

SECTIONS = {
    "a": against_fipy,
    "b": against_elements,
    "c": stage_against_limit,
    "d": with_cells,
    "e": with_time,
    "f": with_threads,
    "g": whole_run,
    "h": with_memory,
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--short", action="store_true", help="small meshes and few runs")
    parser.add_argument("--only", default="".join(SECTIONS), help="letters of the sections wanted")
    parser.add_argument("--out", type=Path, help="file for the table, text or .json")
    given = parser.parse_args()
    warnings.simplefilter("ignore", DeprecationWarning)  # of FiPy's own import
    table = Table()
    began = time.perf_counter()
    table.begin("this machine")
    table.add("threads of the compiled march", numba.get_num_threads(), "", how=_machine())
    table.add("load when begun", os.getloadavg()[0], "", how="processes that wanted a core")
    for letter, section in SECTIONS.items():
        if letter in given.only:
            section(table, given.short)
    table.begin("this table")
    table.add("took", time.perf_counter() - began, "s", how="short form" if given.short else "")
    if given.out:
        table.write(given.out)


def _machine() -> str:
    return f"{platform.machine()}, {platform.system()}, Python {platform.python_version()}"


if __name__ == "__main__":
    main()
