"""The server itself: its data folder, its secret, its address, and the browser that opens it."""

from __future__ import annotations

import os
import secrets
import socket
import sys
import webbrowser
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from html import escape
from pathlib import Path
from typing import IO

import uvicorn

from ..case.faults import CaseError, printable
from .app import app_of
from .guard import is_loopback
from .jobs import Jobs, write_whole

__all__ = ["default_data", "serve"]


def default_data() -> Path:
    """Folder where the page keeps its runs if no other is named."""
    home = Path.home()
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA") or home / "AppData" / "Local"
    elif sys.platform == "darwin":
        base = home / "Library" / "Application Support"
    else:
        base = os.environ.get("XDG_DATA_HOME") or home / ".local" / "share"
    return Path(base) / "lapheat"


def serve(data: Path, host: str, port: int | None, opened: bool) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    data : folder of its own, made if it does not exist
    host : address to listen at
    port : None: another free one at each start
    opened : open the browser

    Raises
    ------
    CaseError
        Folder or address cannot be used.
    """
    with _own(data) as folder, _listening(host, port) as listener:
        token = secrets.token_urlsafe(32)  # of this server alone: its port may be another's later
        port = listener.getsockname()[1]
        address = _address(host, port)
        jobs, opener = Jobs(folder / "jobs"), folder / "open.html"
        config = uvicorn.Config(
            app_of(jobs, token, host, port, opener),
            http="h11",
            ws="none",
            lifespan="on",
            log_level="warning",
            access_log=False,  # addresses hold passes of files
            server_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=2,
        )
        if not is_loopback(host):
            print(f"Open to others at {host}, unencrypted: only on a network that you trust.")
        kept = printable(str(folder))
        print(f"Lapheat is at {address}/#token={token}\nCtrl-C ends it; runs stay in {kept}")
        sys.stdout.flush()
        try:
            if opened:
                _open(opener, f"{address}/#token={token}")
            with suppress(KeyboardInterrupt):  # the usual end
                uvicorn.Server(config).run(sockets=[listener])
        finally:
            opener.unlink(missing_ok=True)


def _open(page: Path, address: str) -> None:
    """Open the browser by a file: the token stays out of the list of processes."""
    escaped = escape(address, quote=True)
    write_whole(
        page,
        f'<!doctype html><meta charset="utf-8"><title>Lapheat</title><meta http-equiv="refresh" '
        f'content="0; url={escaped}"><a href="{escaped}">Open Lapheat</a>\n',
    )
    webbrowser.open(page.as_uri())


@contextmanager
def _own(data: Path) -> Iterator[Path]:
    """Take the data folder for this process alone."""
    try:
        folder = data.expanduser().resolve()
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        if hasattr(os, "getuid") and folder.stat().st_uid != os.getuid():
            raise _refused("--data", str(data), "a folder of your own")
        file = (folder / "lock").open("a", encoding="utf-8")
    except OSError as error:
        why = error.strerror or str(error)
        raise _refused("--data", str(data), "a folder that can be made and written", why) from None
    with file:
        if not _locked(file):
            hint = "use the page that is open, or name another folder"
            raise _refused("--data", str(data), "a folder that no other page serves now", hint)
        yield folder


def _locked(file: IO[str]) -> bool:
    """Lock a file; the lock ends with the process."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


@contextmanager
def _listening(host: str, port: int | None) -> Iterator[socket.socket]:
    """Socket that listens where it is asked to.

    A free port of the system's choice makes a new origin at each start. What a stranger's server
    left in the browser while it had an earlier port is another origin's.
    """
    name = host if port is None else f"{host}:{port}"
    try:
        family = socket.getaddrinfo(host, port or 0, type=socket.SOCK_STREAM)[0][0]
        listener = socket.socket(family, socket.SOCK_STREAM)
    except (OSError, UnicodeError) as error:
        raise _refused("--host", name, "an address of this machine", str(error)) from None
    with listener:
        try:
            if os.name == "posix":
                listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listener.bind((host, port or 0))
            listener.listen(100)
        except OSError as error:
            option = "--host" if port is None else "--port"
            why = error.strerror or str(error)
            raise _refused(option, name, "a free address of here", why) from None
        yield listener


def _address(host: str, port: int) -> str:
    name = "127.0.0.1" if host in ("0.0.0.0", "::", "localhost") else host.lower()
    return f"http://[{name}]:{port}" if ":" in name else f"http://{name}:{port}"


def _refused(option: str, given: str, allowed: str, hint: str = "") -> CaseError:
    return CaseError.one("", option, given, allowed, hint)
