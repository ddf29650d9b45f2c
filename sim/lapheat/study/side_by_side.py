"""`lapheat compare` as a function, for scripts and notebooks."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from ..api import Result, simulate
from ..case.file import read_case
from ..report.notebook import Cell
from .answer import Answer
from .compare.compare import Comparison, compare_runs
from .compare.entries import Entry, of_folder, of_result
from .compare.files import compare_dict, write_compare

__all__ = ["compare"]

PathLike = str | os.PathLike[str]


def compare(
    *runs: PathLike | Result, names: Sequence[str] = (), detail: str | None = None
) -> Answer[Comparison]:
    """Compare runs with the first: what differs, by how much, and which is better.

    Parameters
    ----------
    runs : two or more results, result folders or case files; case files are run
    names : short ones, one a run; by default titles and names of files
    detail : mesh of the case files; their own by default

    Returns
    -------
    answer : a row a setting or an outcome that differs, a column a run

    Raises
    ------
    CaseError
        A case or a folder is refused.
    MarchError
        A computation failed.
    ValueError
        There are fewer than two, or not as many names as runs.
    """

    def entry(run: PathLike | Result) -> Entry:
        if isinstance(run, Result):
            return of_result(run, run.case.title)
        if Path(run).is_dir():
            return of_folder(Path(run))
        return of_result(simulate(read_case(run, (), detail)), str(run))

    entries = [entry(run) for run in runs]
    if names:
        entries = [replace(one, name=name) for one, name in zip(entries, names, strict=True)]
    found = compare_runs(entries)
    names = [each.name for each in found.entries]
    rows: list[dict[str, Cell]] = [
        {"kind": row.kind, "name": row.name}
        | dict(zip(names, row.values, strict=True))
        | {f"{name} change": at for name, at in zip(names[1:], row.changes[1:], strict=True)}
        for row in (*found.settings, *(each for each in found.outcomes if each.differs))
    ]
    return Answer(
        found,
        "compare",
        " and ".join(names),
        compare_dict(found),
        tuple(rows),
        lambda folder: write_compare(found, folder),
    )
