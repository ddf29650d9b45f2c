"""Where machine code is kept between runs, and that only whole code of the user's own is run.

Numba judges by a function's own file alone whether kept machine code is still right. Yet numbers
and functions from other files are compiled in. Lapheat's folder therefore carries a mark of all the
files that take part (this folder, and three whose numbers are compiled in) and of numba's version.
It is where the user keeps caches, so an installation that is read-only works too. Where nothing can
be written, every run compiles.
"""

from __future__ import annotations

import os
import pickle
import sys
import tempfile
from collections.abc import Callable
from hashlib import sha256
from pathlib import Path
from typing import Any

import numba
from numba.core.caching import FunctionCache, IndexDataCacheFile

from ...case.faults import printable

__all__ = ["KeptCode", "folder"]


def _mark() -> str:
    found = sha256(numba.__version__.encode())
    package = Path(__file__).parents[2]
    beside = [package / part for part in ("constants.py", "joint/section.py", "problem/arrays.py")]
    for path in sorted([*Path(__file__).parent.glob("*.py"), *beside]):
        found.update(path.read_bytes())
    return found.hexdigest()[:16]


def folder() -> Path | None:
    """Folder of the compiled functions, made if need be; None where none can be written."""
    config: Any = numba.config
    named = config.CACHE_DIR or os.environ.get("XDG_CACHE_HOME")
    user = getattr(os, "getuid", lambda: 0)()  # 0 where files have no such owner
    for base in (
        Path(named) if named else Path.home() / ".cache",
        Path(tempfile.gettempdir()) / f"cache-{user}",
    ):
        places = base, base / "lapheat", base / "lapheat" / _mark()
        try:
            for place in places:
                place.mkdir(mode=0o700, parents=True, exist_ok=True)
            with tempfile.TemporaryFile(dir=places[-1]):
                pass
            if all(map(_own, places)):
                return places[-1]
        except OSError:
            continue
    return None


def _own(place: Path) -> bool:
    """Whether nobody but the user can put code there."""
    if not hasattr(os, "getuid"):
        return True
    status = place.stat()
    # where each user has a group of their own it may write, and no one else is in it
    others = 0o002 if status.st_gid == status.st_uid else 0o022
    theirs = not status.st_mode & others
    return theirs and status.st_uid == place.lstat().st_uid == os.getuid()


class KeptCode(FunctionCache):
    """Machine code of one function on disk; what is damaged there is compiled again beside it."""

    def __init__(self, function: Callable[..., Any]) -> None:
        super().__init__(function)
        stamp = self._impl.locator.get_source_stamp()
        self._cache_file = _Files(self._cache_path, self._impl.filename_base, stamp)

    def save_overload(self, sig: Any, data: Any) -> None:
        """Keep code; where it cannot be written the run goes on with what it has."""
        try:
            super().save_overload(sig, data)
        except OSError as error:
            _say(f"compiled code cannot be kept in {self._cache_path}: {error.strerror}")


class _Files(IndexDataCacheFile):
    """Numba's files, but that a file of code is named by its checksum.

    Damaged code may end the process rather than raise, so it is not even looked at.
    """

    def save(self, key: Any, data: Any) -> None:
        code = self._dump(data)
        name = self._data_name(sha256(code).hexdigest()[:24])
        with self._open_for_write(self._data_path(name)) as file:
            file.write(code)
        self._save_index(self._load_index() | {key: name})

    def load(self, key: Any) -> Any:
        name = self._load_index().get(key)
        if name is None:
            return None
        try:
            code = Path(self._data_path(name)).read_bytes()
        except OSError:
            return None
        if name != self._data_name(sha256(code).hexdigest()[:24]):
            return self._damaged()
        return pickle.loads(code)

    def _data_name(self, number: Any) -> str:
        return f"{self._index_name[:-4]}.{number}.nbc"

    def _load_index(self) -> Any:
        try:
            return super()._load_index()
        except Exception:  # junk makes pickle raise anything
            self._damaged()
            return {}

    def _damaged(self) -> None:
        _say(f"compiled code in {self._cache_path} is damaged: it is compiled again")


_SAID: set[str] = set()


def _say(text: str) -> None:
    """Say it on stderr, but nothing twice."""
    if text not in _SAID:
        _SAID.add(text)
        print(printable(text), file=sys.stderr)
