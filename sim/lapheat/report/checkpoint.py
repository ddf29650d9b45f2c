"""The file that a run keeps its state in between times, so that it can be cut short and go on."""

from __future__ import annotations

import json
import os
import signal
import sys
from hashlib import sha256
from importlib.metadata import version
from pathlib import Path
from threading import current_thread, main_thread
from time import monotonic
from types import FrameType, TracebackType
from typing import Any, Self

import numpy as np
from llvmlite.binding import get_host_cpu_name
from numpy.typing import NDArray

from ..case.case import Case
from ..case.faults import CaseError, Fault, printable_lines
from ..case.file import digest_of
from ..march.expected import expected_of
from ..march.safety.way import UNFIT, Arrays, KeptError
from ..version import __version__, mark
from .leftovers import hidden, tidied

__all__ = ["Checkpoint", "checkpoint_of"]

HEAD = b"lapheat checkpoint 1\n"
# [bytes], well above what a run keeps: 105 to 125 a cell were measured, rows grow with its steps
A_CELL, MOST_STEPS = 500, 500_000
TYPES = {name: np.dtype(name) for name in ("<f8", "<i8", "|b1")}


def checkpoint_of(folder: Path) -> Path:
    """Name of the file beside a result folder."""
    return folder.with_name(f"{folder.name}.checkpoint")


class Checkpoint:
    """Plain arrays in one file: a line that says what it is, a checksum, names and sizes, numbers.

    Nothing in it is code. It is written beside itself and moved into place, so it is whole or as
    it was before. Inside a ``with`` round the march, Ctrl-C asks for one last state and then ends
    it; a second Ctrl-C ends it at once.

    The checksum tells damage, not who wrote the file: a forged state changes the answer.

    Parameters
    ----------
    path : of the file, from `checkpoint_of`
    every : least time between two states [s]
    case : of the run
    resume : go on from the file, if it is there

    Attributes
    ----------
    begin : the arrays to go on from; None: from the start

    Raises
    ------
    CaseError
        A file is there and must not be used, or nothing was said about it; at the end of the
        ``with``, too, if the march found that its arrays do not fit.
    """

    def __init__(self, path: Path, every: float, case: Case, resume: bool) -> None:
        self.path, self.every = path, every
        self.made_for = {"case": digest_of(case), "version": __version__, "program": mark()}
        self.made_for |= {name: version(name) for name in ("numpy", "numba", "llvmlite")}
        self.made_for["processor"] = get_host_cpu_name()
        self.begin: Arrays | None = None
        self._next = monotonic() + every
        self._going = self._asked = False
        self._troubled = False
        self._before: Any = None
        try:
            tidied(path)
            if path.is_symlink() or (path.exists() and not path.is_file()):
                raise self._refused("not a regular file", "move it away")
            if path.exists():
                self._meet(resume, _largest(case))
        except OSError as error:
            raise self._refused(f"a file that cannot be read: {error.strerror}") from error

    def _meet(self, resume: bool, largest: int) -> None:
        """Take in the file that is there, or refuse it; of at most so many bytes."""
        with self.path.open("rb") as file:
            if file.read(len(HEAD)) != HEAD:
                raise self._refused("a file of another kind", "move it away")
            if not resume:
                raise self._refused(
                    "the state of an unfinished run",
                    "--resume goes on from it; delete it to start anew",
                )
            if os.fstat(file.fileno()).st_size > largest:
                given = f"larger than the {largest / 1e6:.0f} MB that this case can need"
                raise self._refused(given, "delete it; the run has to start anew")
            total, rest = file.readline(100).strip(), file.read()
        if sha256(rest).hexdigest().encode() != total:
            raise self._damaged()
        try:
            line, _, numbers = rest.partition(b"\n")
            told = json.loads(line)
            made_for = dict(told["made_for"])
            arrays = _arrays(told["arrays"], numbers)
        except (*UNFIT, RecursionError) as error:
            raise self._damaged() from error
        for name, mine in self.made_for.items():
            if made_for.get(name) != mine:
                given = f"the state of a run with another {name}"
                raise self._refused(given, f"delete it to start anew, or go back to that {name}")
        self.begin = arrays

    def _refused(self, given: str, hint: str = "") -> CaseError:
        allowed = "no file, or the state of an unfinished run of this very case"
        return CaseError([Fault("", str(self.path), given, allowed, hint)])

    def _damaged(self) -> CaseError:
        return self._refused("damaged", "delete it; the run has to start anew")

    def due(self) -> bool:
        """Whether the time has come, or somebody has asked."""
        self._going = True
        return self._asked or monotonic() >= self._next

    def keep(self, arrays: Arrays) -> None:
        """Write a state in the place of the one before.

        Where that fails the one before stays, it is said once, and the run goes on.

        Raises
        ------
        KeyboardInterrupt
            It was the last one, asked for by Ctrl-C.
        """
        fresh, _ = hidden(self.path)
        try:
            self._write(fresh, arrays)
            fresh.replace(self.path)
        except OSError as error:
            fresh.unlink(missing_ok=True)
            if not self._troubled:
                told = f"{self.path} could not be written: {error.strerror}; the run goes on"
                print(printable_lines(told), file=sys.stderr, flush=True)
            self._troubled = True
        self._next = monotonic() + self.every
        if self._asked:
            raise KeyboardInterrupt

    def _write(self, path: Path, arrays: Arrays) -> None:
        told = [[name, array.dtype.str, array.shape] for name, array in arrays.items()]
        line = json.dumps({"made_for": self.made_for, "arrays": told})
        rest = b"".join([line.encode(), b"\n", *(array.tobytes() for array in arrays.values())])
        with path.open("xb") as file:
            file.write(HEAD + sha256(rest).hexdigest().encode() + b"\n")
            file.write(rest)
            file.flush()
            os.fsync(file.fileno())

    def __enter__(self) -> Self:
        # heard by the main thread alone, and not in the background of a script
        mine = current_thread() is main_thread()
        if mine and signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
            self._before = signal.signal(signal.SIGINT, self._ask)
        return self

    def _ask(self, number: int, frame: FrameType | None) -> None:
        del number, frame
        signal.signal(signal.SIGINT, self._before)
        if not self._going:  # it may still compile for half a minute
            raise KeyboardInterrupt
        self._asked = True

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        if self._before is not None:
            signal.signal(signal.SIGINT, self._before)
        if isinstance(error, KeptError):
            raise self._damaged() from error

    def remove(self) -> None:
        """Delete the file: the run is finished."""
        self.path.unlink(missing_ok=True)


def _largest(case: Case) -> int:
    """Size that a case's file may have [bytes]."""
    row = 8 * (10 + 2 * case.segment_count + len(case.probes))
    return A_CELL * expected_of(case).cells + MOST_STEPS * row


def _arrays(told: Any, numbers: bytes) -> dict[str, NDArray[Any]]:
    """Arrays by name out of their bytes; a size that is not as told is a ValueError."""
    found, at = {}, 0
    for name, kind, shape in told:
        count = 1
        for length in shape:
            count *= int(length)
        if count < 0:
            raise ValueError(name)
        end = at + count * TYPES[kind].itemsize
        array = np.frombuffer(numbers[at:end], TYPES[kind])
        found[name], at = array.reshape([int(length) for length in shape]), end
    if at != len(numbers):
        raise ValueError("more bytes than told")
    return found
