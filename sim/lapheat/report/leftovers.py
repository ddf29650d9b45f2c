"""What a killed process leaves beside a result folder: swept, and an earlier result put back."""

from __future__ import annotations

import os
import platform
import re
import secrets
import shutil
from contextlib import suppress
from hashlib import sha256
from pathlib import Path

__all__ = ["LONGEST", "hidden", "tidied"]

LONGEST = 220  # [bytes] of a folder's name: 255 less what a hidden name adds


def hidden(target: Path) -> tuple[Path, Path]:
    """Two names beside a folder: for the new one while it is written, and for the earlier one.

    They hold the number of this process and of where it runs.
    """
    stem = f".{target.name}.{_place()}-{os.getpid()}-{secrets.token_hex(4)}"
    return target.with_name(f"{stem}.new"), target.with_name(f"{stem}.old")


def tidied(target: Path) -> None:
    """Remove what dead processes of this machine left; an earlier result without one comes back.

    A process killed between its two renames leaves no result, and both under hidden names.

    Raises
    ------
    OSError
        The folder above cannot be read.
    """
    name = re.compile(rf"\.{re.escape(target.name)}\.{_place()}-([0-9]+)-[0-9a-f]+\.(new|old)")
    for path in sorted(target.parent.iterdir()) if target.parent.is_dir() else ():
        match = name.fullmatch(path.name)
        if match is None or _alive(int(match[1])):
            continue
        if match[2] == "old" and not target.exists():
            path.rename(target)
        elif path.is_file():
            path.unlink(missing_ok=True)
        else:
            shutil.rmtree(path, ignore_errors=True)


def _place() -> str:
    """Where process numbers mean the same processes: this machine, and this container on it."""
    space = ""
    with suppress(OSError):
        space = os.readlink("/proc/self/ns/pid")
    return sha256(f"{platform.node()} {space}".encode()).hexdigest()[:8]


def _alive(process: int) -> bool:
    if os.name == "nt":  # there is no signal that only asks
        return True
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except PermissionError:
        pass
    return True
