"""Errors found against exact answers: held to their bound, and kept for the README's table."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from math import isfinite, log
from pathlib import Path

__all__ = ["KEPT", "Entry", "Record", "kept_in", "no_longer_made"]

KEPT = Path(__file__).parent / "errors.json"

MOVED, SLIGHT = 0.2, 0.02  # by what share of itself, and of its bound, an error may move


@dataclass(frozen=True)
class Entry:
    """One line: what was checked against what, the error found and the most that is allowed."""

    check: str
    source: str
    error: float
    bound: float
    unit: str


class Record:
    """Called with a check, its source, the error found, the bound and the unit of both.

    An order of convergence is kept as its distance from 2, in the unit "order".

    Parameters
    ----------
    show : print each error
    kept : what was written down, by check; an error that has moved away from it is refused. None:
        nothing is compared, as it is to be written anew
    """

    def __init__(self, show: bool = False, kept: Mapping[str, Entry] | None = None) -> None:
        self.entries: dict[str, Entry] = {}
        self.show, self.kept = show, kept

    def __call__(self, check: str, source: str, error: float, bound: float, unit: str) -> None:
        """Fail where the error is above the bound; of a check made more than once keep the worst.

        Raises
        ------
        AssertionError
            The error is above the bound, or no number.
        """
        entry = Entry(check, source, float(error), float(bound), unit)
        known = self.entries.get(check)
        if known is None or entry.error > known.error:
            self.entries[check] = entry
        if self.show:
            print(f"{check}: {error:.4g} {unit} (bound {bound:g})")
        assert isfinite(error), f"{check}: {error}"
        assert error <= bound, f"{check}: {error:.6g} {unit}, more than {bound:g}"
        if self.kept is None:
            return
        assert check in self.kept, f"{check} is not in the table: record it anew"
        # of a check made more than once the worst is kept; round-off differs between machines
        worst = self.kept[check].error
        assert error <= worst * (1.0 + MOVED) + SLIGHT * bound, (
            f"{check}: {error:.6g} {unit}, {worst:.6g} in the table: record it anew"
        )

    def order(self, check: str, source: str, errors: Sequence[float], within: float = 0.2) -> None:
        """Fail where the last two errors, mesh or step halved between them, tell no order of 2."""
        found = log(errors[-2] / errors[-1]) / log(2.0)
        self(check, source, abs(found - 2.0), within, "order")

    def write(self, path: Path) -> None:
        """Write the entries of this run; those of checks no longer made go with the old file.

        Raises
        ------
        AssertionError
            An entry is above its bound: failures are mended, not published.
        """
        above = [entry.check for entry in self.entries.values() if entry.error > entry.bound]
        assert not above, f"not written, above their bounds: {above}"
        lines = [asdict(self.entries[check]) for check in sorted(self.entries)]
        path.write_text(json.dumps(lines, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def kept_in(path: Path) -> dict[str, Entry]:
    """Entries of a file that `Record.write` made, by check."""
    entries = [Entry(**entry) for entry in json.loads(path.read_text(encoding="utf-8"))]
    return {entry.check: entry for entry in entries}


def no_longer_made(checks: Iterable[str]) -> list[str]:
    """Checks that `KEPT` lists and a run of all tests did not make."""
    return sorted(kept_in(KEPT).keys() - set(checks))
