"""The result folder that all studies share: numbers, table, kept rows and pictures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path

from ...report.folder import write_folder, write_json
from .store import RowFile

__all__ = ["cell", "write_study"]


def cell(value: object) -> object:
    """Value of a row as a cell of a CSV file."""
    if isinstance(value, bool):
        return str(value).lower()
    return "" if value is None else value


def write_study(
    folder: Path,
    ours: Sequence[str],
    told: Mapping[str, object],
    texts: Sequence[str | None],
    store: RowFile,
    draw: Callable[[Path], Iterable[Path]],
) -> tuple[Path, ...]:
    """Write a result folder; whole or not at all.

    Parameters
    ----------
    folder : where
    ours : names in it: of `told`, of each of the `texts`, of the kept rows, and "figures"; last
        what may lie beside them, see `check_folder`
    told : for the JSON file
    texts : contents of the other files; None leaves that file out
    store : keeps the rows
    draw : writes the pictures into a folder and returns their paths in it

    Raises
    ------
    CaseError
        The folder must not be used.
    ResultError
        Something could not be written.
    """
    files = [name for name in ours if "/" not in name]

    def fill(fresh: Path) -> list[Path]:
        write_json(fresh / ours[0], dict(told))
        names = [ours[0]]
        for name, text in zip(files[1:-1], texts, strict=True):
            if text is not None:
                (fresh / name).write_text(text, "utf-8", newline="")
                names.append(name)
        store.write_used(fresh / files[-1])
        return [*map(Path, [*names, files[-1]]), *draw(fresh)]

    return write_folder(folder, fill, tuple(ours))
