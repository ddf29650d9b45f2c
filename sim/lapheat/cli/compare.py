"""`lapheat compare`: read or run each, write files, and say which is better."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ..case.faults import printable
from ..case.file import CaseError, read_case
from ..joint.lines import mesh_lines
from ..march.expected import expected_of
from ..outcomes.wording import Wording
from ..report.document.tables import shown_of, unit_of
from ..report.folder import check_folder
from ..study.compare.compare import Comparison, Difference, compare_runs
from ..study.compare.entries import Entry, of_folder, of_result, short_name
from ..study.compare.files import OURS, write_compare
from ..study.compare.told import change_told, settings_told
from ..study.runs.slacks import LABELS
from .terminal.exits import Left
from .terminal.progress import metered
from .terminal.screen import show

if TYPE_CHECKING:
    from ..api import Result
    from ..case.case import Case, Display

__all__ = ["carry_out"]

WIDEST = 24  # characters of a run's name in a table

# what a person compares first; every outcome is in compare.csv
SHOWN = LABELS | {
    "filler.tube_side_wet": "tube side wet",
    "filler.flange_side_wet": "flange side wet",
    "filler.longest_dry_m": "longest dry stretch",
    "tube.bore_peak_C": "tube bore peak",
    "strength.ratio": "joint over tube",
    "time.total_s": "total time",
    "time.arc_on_s": "arc on",
    "supplies.arc_energy_J": "arc energy",
    "supplies.rod_m": "rod",
}


def carry_out(
    given: Sequence[Path], out: Path | None, detail: str | None, meshes: bool, left: Left
) -> bool:
    """Compare, write the results and show them; return whether any run works.

    Parameters
    ----------
    given : case files and result folders
    out, detail : as on the command line; the detail is that of case files
    meshes : compute case files on all three
    left : kept up to date with what an early end would leave behind

    Raises
    ------
    CaseError
        A case, a folder or the count of them is refused.
    MarchError, ResultError
        A computation failed, or the results could not be written.
    """
    if len(given) < 2:
        allowed = "two or more: case files, result folders, or both"
        raise CaseError.one("", "compare", str(given[0]), allowed)
    if meshes and detail is not None:
        allowed = "nothing beside --converge, which runs coarse, standard and fine"
        raise CaseError.one("", "--detail", detail, allowed)
    beside = given[0].resolve().with_name(f"{short_name(given[0])}.compare")
    folder = check_folder(beside if out is None else out, OURS)
    read = [of_folder(path) if path.is_dir() else _case(path, detail, meshes) for path in given]
    entries = [
        item
        if isinstance(item, Entry)
        else _computed(item, path, meshes, f"{number} of {len(read)}: ")
        for number, (item, path) in enumerate(zip(read, given, strict=True), start=1)
    ]
    found = compare_runs(entries)
    files = write_compare(found, folder)
    left.words = f"the results are whole, in {folder}"
    show(_told(found, files))
    return any(entry.works for entry in found.entries)


def _case(path: Path, detail: str | None, meshes: bool) -> Case:
    case = read_case(path, (), "fine" if meshes else detail)
    mesh_lines(case)  # a mesh too large is refused before the first run
    return case


def _computed(case: Case, path: Path, meshes: bool, head: str) -> Entry:
    with metered(case, expected_of(case).total) as meter:
        from .. import api  # after the bar is up: numba takes a second

        def computed(case: Case, shorter: float) -> Result:
            steps = "half steps, " if shorter > 1.0 else ""
            meter.start(f"{head}{case.detail} mesh, {steps}" if meshes else head)
            return api.simulate(case, report=meter, shorter=shorter)

        result = api.converge(case, computed) if meshes else computed(case, 1.0)
    return of_result(result, str(path))


def _told(found: Comparison, files: Sequence[Path]) -> RenderableType:
    """Lay out settings that differ, outcomes side by side, which is better, notes and files."""
    from .study.frame import page

    parts: list[RenderableType] = []
    if found.settings:
        parts += [Text(), _settings(found)]
    else:
        parts += [Text(), Text("The cases are the same but for their titles.")]
    style = "bold green" if any(entry.works for entry in found.entries) else "bold red"
    parts += [Text(), _outcomes(found), Text(), Text(printable(f"{found.why}."), style=style)]
    parts += [Text(printable(note)) for note in found.notes]
    return page(" and ".join(entry.name for entry in found.entries), parts, files)


def _table(head: str, found: Comparison, differences: bool) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    table.add_column(head)
    for entry in found.entries:
        table.add_column(_cut(entry.name))
    for entry in found.entries[1:] if differences else ():
        table.add_column(f"{_cut(entry.name)} less {_cut(found.entries[0].name)}")
    return table


def _cut(name: str) -> str:
    """Name that fits over a column."""
    return printable(name if len(name) <= WIDEST else f"{name[: WIDEST - 3].rstrip()}...")


def _settings(found: Comparison) -> Table:
    table = _table("differs", found, differences=False)
    for name, cells in settings_told(found):
        table.add_row(name, *cells)
    return table


def _outcomes(found: Comparison) -> Table:
    display = found.entries[0].case.display
    table = _table("outcome", found, differences=True)
    for name, yes, no in (
        ("base_stays_solid", "solid", "too hot"),
        ("filler_flows", "flows", "fails"),
    ):
        verdicts = [entry.told["verdict"][name] is True for entry in found.entries]
        cells = [Text(yes if good else no, style="" if good else "red") for good in verdicts]
        table.add_row(name.partition("_")[0], *cells)
    for name, label in SHOWN.items():
        row = found.outcome(name)
        if row is not None and any(value is not None for value in row.values):
            table.add_row(label, *_cells(row, display))
    return table


def _cells(row: Difference, display: Display) -> Iterator[str]:
    """Values, then what the later runs differ by, each with its uncertainty if there is one."""
    unit, _ = unit_of(row.name, display)
    for value in row.values:
        if not isinstance(value, float | int):
            yield "-"
        elif not unit:
            yield Wording.share(value)
        else:
            yield _size(shown_of(row.name, value, display), unit)
    for change, unsure in zip(row.changes[1:], row.uncertainties[1:], strict=True):
        if change is None:
            yield "-"
            continue
        doubt = ""
        if unsure is not None:
            doubt = f" +/- {_size(*change_told(row.name, unsure, display))}"
        size = _size(*change_told(row.name, change, display))
        yield f"{'' if size.startswith('-') else '+'}{size}{doubt}"


def _size(number: float, unit: str) -> str:
    """Number to as many decimals as a person compares; shares differ by percentage points."""
    if not unit:
        return f"{100.0 * number:z.1f} points"
    return f"{number:z.{3 if unit == 'in' else 1}f} {unit}"
