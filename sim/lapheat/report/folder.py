"""The result folder of a run: whole or not at all."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..case.case import Case
from ..case.faults import printable
from ..case.file import CaseError, Fault, case_to_toml, digest_of
from ..constants import ZERO_CELSIUS
from ..history.records import History, Trace, Unfinished
from ..outcomes.outcomes import Outcomes
from ..version import __version__
from .fields import FIELD_NAME, save_fields
from .leftovers import LONGEST, hidden, tidied
from .notebook import Count

if TYPE_CHECKING:
    from ..outcomes.convergence import Convergence

__all__ = [
    "ResultError",
    "check_folder",
    "default_folder",
    "write_folder",
    "write_json",
    "write_results",
    "write_unfinished",
]

# What each command leaves in its folder; the first is in every one and identifies it.
OURS = (
    *("outcomes.json", "case.toml", "probes.csv", "convergence.json"),
    r"figures/(peaks|histories|section|schedule|current)\.(png|svg)",
    *("report.html", "sheet.pdf", "sheet.png", "sheet-letter.pdf"),
    *("film.mp4", "film.gif", f"fields/({FIELD_NAME})"),
)
UNFINISHED = ("incomplete.json", "case.toml", "probes.csv", "trace.csv")  # of a march that failed
LITTER = {".DS_Store", "Thumbs.db", "desktop.ini", ".directory"}  # left by file browsers
ALLOWED = "a new folder, an empty one, or an earlier result, which is replaced"


class ResultError(Exception):
    """Results could not be written; the message says where and why."""


def default_folder(case_file: str | os.PathLike[str]) -> Path:
    """Folder of a case's results where no other is named: CASE-NAME.out beside the case file."""
    path = Path(case_file)
    return path.with_name(f"{path.stem}.out")


def check_folder(folder: str | os.PathLike[str], ours: Sequence[str] = OURS) -> Path:
    """Refuse a folder that results must not or cannot go into; leave nothing behind.

    What a killed process left beside it is tidied up.

    Parameters
    ----------
    folder : as the user named it
    ours : names in an earlier result; the first is in every one. Behind the name of a folder and
        a slash stands a pattern of the names in it. A pattern of names that ends in a slash is of
        what may lie beside them, and is kept.

    Returns
    -------
    folder : absolute, links followed

    Raises
    ------
    CaseError
        It is a file, holds anything but an earlier result, or cannot be made.
    """

    def refuse(given: str, hint: str) -> CaseError:
        return CaseError([Fault("--out", printable(str(folder)), given, ALLOWED, hint)])

    other = "name another with --out"
    try:
        path = Path(folder).resolve()
        tidied(path)
        if path.exists() and not path.is_dir():
            raise refuse("a file", other)
        if path.is_dir():
            names = {entry.name for entry in path.iterdir()} - LITTER
            if names and ours[0] not in names:
                raise refuse("a folder with other things in it", other)
            inside = dict(name.split("/", 1) for name in ours if "/" in name[:-1])
            beside = {entry.name for entry in _beside(path, ours)}
            strange = sorted(names - set(ours) - set(inside) - beside)
            strange += [name for part in inside for name in _strange(path / part, inside[part])]
            if strange:
                raise refuse(
                    f"an earlier result with other things in it: {', '.join(strange[:5])}",
                    f"move them away, or {other}",
                )
            if path.is_mount() or Path.cwd().is_relative_to(path):
                raise refuse("a folder that is in use and cannot be replaced", "name one in it")
        above = next(p for p in path.parents if p.exists())
        if not above.is_dir():
            raise refuse(f"a folder in {above}, which is a file", other)
        if not _writable(above):
            raise refuse(f"a folder in {above}, where you may not write", other)
        if path.is_symlink():  # Python 3.13 leaves a link that ends in itself
            raise refuse("a link that leads nowhere", other)
        if len(os.fsencode(path.name)) > LONGEST:
            raise refuse("a name that is too long", f"at most {LONGEST} bytes; {other}")
    except (OSError, ValueError, RuntimeError) as error:  # a loop of links is a RuntimeError
        raise refuse(f"a folder that cannot be made: {_reason(error)}", other) from error
    return path


def _beside(folder: Path, ours: Sequence[str]) -> list[Path]:
    """What may lie beside the files of an earlier result."""
    kept = [name[:-1] for name in ours if name.endswith("/")]
    if not kept or not folder.is_dir():
        return []
    entries = [entry for entry in sorted(folder.iterdir()) if entry.name not in ours]
    return [e for e in entries if any(re.fullmatch(pattern, e.name) for pattern in kept)]


def _link_or_copy(old: str, new: str) -> None:
    """Put a file in a second place; without a copy where the disk can."""
    try:
        os.link(old, new)
    except OSError:
        shutil.copy2(old, new)


def _carry(old: Path, new: Path) -> None:
    """Put a file or a folder in a second place."""
    if old.is_dir() and not old.is_symlink():
        shutil.copytree(old, new, symlinks=True, copy_function=_link_or_copy)
    elif old.is_symlink():
        shutil.copy2(old, new, follow_symlinks=False)
    else:  # a link, so that a file that is being written goes on
        _link_or_copy(str(old), str(new))


def _writable(folder: Path) -> bool:
    """Try it: permissions alone say nothing of a read-only disk or a system's own folder."""
    try:
        Path(tempfile.mkdtemp(prefix=".lapheat-", dir=folder)).rmdir()
    except OSError:
        return False
    return True


def _strange(folder: Path, ours: str) -> list[str]:
    """Names in a folder of an earlier result that the program does not write."""
    if not folder.is_dir():
        return [f"{folder.name}, which is a file"] if folder.exists() else []
    names = {entry.name for entry in folder.iterdir()} - LITTER
    return sorted(f"{folder.name}/{name}" for name in names if not re.fullmatch(ours, name))


def _reason(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def write_results(
    history: History,
    outcomes: Outcomes,
    folder: str | os.PathLike[str],
    convergence: Convergence | None = None,
    count: Count | None = None,
) -> tuple[Path, ...]:
    """Write outcomes, case, probes, figures, sheet and report of a run, and any convergence.

    Film and fields are written too if the run kept them.

    Everything is written beside the folder first and moved there as one, so that a broken run
    leaves an earlier result as it was.

    Parameters
    ----------
    history, outcomes : the run
    folder : where it goes; an earlier result is replaced
    convergence : the same case on three meshes
    count : called with what is being written, files of it done and files in all, for what takes
        long

    Returns
    -------
    files : in the order written

    Raises
    ------
    CaseError
        The folder must not be used: see `check_folder`.
    ResultError
        Something could not be written.
    """

    def fill(fresh: Path) -> list[Path]:
        return _fill(fresh, history, outcomes, convergence) + _long(fresh, history, count)

    return write_folder(folder, fill, OURS)


def write_unfinished(so_far: Unfinished, folder: str | os.PathLike[str], reason: str) -> Path:
    """Write what a failed march had computed beside its result folder: FOLDER.incomplete.

    No result is touched; an earlier FOLDER.incomplete is replaced.

    Parameters
    ----------
    so_far : from the `MarchError`
    folder : the result folder
    reason : why it failed

    Returns
    -------
    folder : that was written

    Raises
    ------
    CaseError
        It must not be used: see `check_folder`.
    ResultError
        Something could not be written.
    """
    case, trace = so_far.case, so_far.trace
    told = {
        "incomplete": reason,
        "case": digest_of(case),
        "march": so_far.march,
        "steps": len(trace.time) - 1,
        "simulated_s": float(trace.time[-1]),
        "versions": {"lapheat": __version__},
    }
    table = np.column_stack(
        [trace.time, trace.current, trace.segment, np.degrees(trace.angle)]
        + [hottest - ZERO_CELSIUS for hottest in (trace.tube, trace.flange)]
    )
    names = ("time_s", "current_A", "segment", "angle_deg", "tube_C", "flange_C")

    def fill(fresh: Path) -> list[Path]:
        write_json(fresh / "incomplete.json", told)
        (fresh / "case.toml").write_text(case_to_toml(case), "utf-8")
        (fresh / "probes.csv").write_text(_probes_csv(trace, case), "utf-8", newline="")
        rows = "".join(f"{','.join(f'{value:.10g}' for value in row)}\n" for row in table)
        (fresh / "trace.csv").write_text(f"{','.join(names)}\n{rows}", "utf-8", newline="")
        return [Path(name) for name in UNFINISHED]

    target = Path(folder).resolve()
    target = target.with_name(f"{target.name}.incomplete")
    write_folder(target, fill, UNFINISHED)
    return target


def _long(folder: Path, history: History, count: Count | None) -> list[Path]:
    """Write what was kept on the way, and return the names of its files."""
    names: list[Path] = []
    if history.film is not None:
        from .film import save_film  # matplotlib takes half a second

        names.append(save_film(history, folder, count))
    if history.fields is not None:
        names += save_fields(history, folder / "fields", count)
    return [path.relative_to(folder) for path in names]


def write_folder(
    folder: str | os.PathLike[str], fill: Callable[[Path], Sequence[Path]], ours: Sequence[str]
) -> tuple[Path, ...]:
    """Write a result folder, whole or not at all.

    Parameters
    ----------
    folder : where it goes; an earlier result is replaced
    fill : writes the files into the new folder it is given; returns their names in it
    ours : as for `check_folder`

    Returns
    -------
    files : in the order written

    Raises
    ------
    CaseError
        The folder must not be used: see `check_folder`.
    ResultError
        Something could not be written.
    """
    target = check_folder(folder, ours)
    fresh, aside = hidden(target)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh.mkdir()
        names = fill(fresh)
        for entry in _beside(target, ours):
            _carry(entry, fresh / entry.name)
        _put_in_place(fresh, target, aside)
    except OSError as error:
        raise ResultError(
            f"the results could not be written to {target}: {_reason(error)}"
        ) from error
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return tuple(target / name for name in names)


def _put_in_place(fresh: Path, target: Path, aside: Path) -> None:
    """Move `fresh` to `target`, an earlier result out of the way first and back on failure."""
    try:
        if target.exists():
            target.rename(aside)
        fresh.rename(target)
    except BaseException:
        if aside.exists() and not target.exists():
            aside.rename(target)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _fill(
    folder: Path, history: History, outcomes: Outcomes, convergence: Convergence | None
) -> list[Path]:
    # matplotlib takes half a second, and studies that write no run need none of this
    from .document import report_html
    from .figures import save_figures
    from .sheet import save_sheet

    case, day = history.case, date.today().isoformat()
    names = [Path("outcomes.json"), Path("case.toml"), Path("probes.csv")]
    write_json(folder / "outcomes.json", outcomes.as_dict() | {"case": digest_of(case)})
    if convergence is not None:
        names.append(Path("convergence.json"))
        write_json(folder / "convergence.json", convergence.as_dict())
    (folder / "case.toml").write_text(case_to_toml(case), "utf-8")
    (folder / "probes.csv").write_text(_probes_csv(history.trace, case), "utf-8", newline="")
    figures = save_figures(history, folder / "figures")
    sheets = save_sheet(history, outcomes, folder, day)
    pictures = [path for path in figures if path.suffix == ".png"]
    report = folder / "report.html"
    report.write_text(report_html(history, outcomes, pictures, day, convergence), "utf-8")
    return [*names, *(path.relative_to(folder) for path in (*figures, *sheets, report))]


def write_json(file: Path, content: Any) -> None:
    """Write plain dicts, lists and numbers; what is not finite is refused."""
    text = json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
    file.write_text(f"{text}\n", "utf-8")


def _probes_csv(trace: Trace, case: Case) -> str:
    """Time and each probe, a row a step of the whole run."""
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\n")
    rows.writerow(["time_s", *(f"{probe.name}_C" for probe in case.probes)])
    table = np.column_stack([trace.time, trace.probes - ZERO_CELSIUS])
    rows.writerows([f"{row[0]:.4f}", *(f"{value:.3f}" for value in row[1:])] for row in table)
    return text.getvalue()
