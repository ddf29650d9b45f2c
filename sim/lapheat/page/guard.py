"""Who may ask: one token, this address, this page. Everything else is refused before it is read."""

from __future__ import annotations

import hmac
import ipaddress
import re
import socket
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["CASE", "HEADERS", "MEASURED", "Guard", "is_loopback", "pass_of"]

CASE, MEASURED = 1_000_000, 20_000_000  # [bytes] of a case file, and of measurements
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; "
    "connect-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'"
)
HEADERS: Mapping[str, str] = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "x-frame-options": "DENY",
}
OURS = ("same-origin", "none")  # of Sec-Fetch-Site: from the page itself, or typed by the user
HTTP = 80
PORTED = re.compile(r":\d+$")  # not "[::1]"
SHIPPED = re.compile(r"/(browser/.*)?")  # the page itself: the same for everyone, no secret in it
FILE = re.compile(r"/api/runs/([0-9a-f]{16})/files/.+")
CLOSED = (
    "This page is closed to you: open it by the address that the command lapheat page shows. "
    "Each start makes a new address.\n"
)


def is_loopback(host: str) -> bool:
    """Whether an address can be reached from this machine only."""
    if host.lower() == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return False


def pass_of(token: str, job: str) -> str:
    """Make what opens the files of one job, in addresses where no header can stand."""
    return hmac.digest(token.encode(), job.encode(), "sha256").hex()


class Guard:
    """Lets a request through if host, origin, token and size are right.

    The token is sent as ``Authorization: Bearer``, never as a cookie: a browser sends cookies to
    every port of a host, so to a server of another user too.

    Parameters
    ----------
    app : what it guards
    token : secret of this server
    host, port : where it listens
    opener : file that holds the token until it is first used, if there is one
    """

    def __init__(
        self, app: ASGIApp, token: str, host: str, port: int, opener: Path | None = None
    ) -> None:
        self._app, self._token, self._port, self._opener = app, token, port, opener
        host = host.lower()  # as browsers send it
        names = {"127.0.0.1", "[::1]", "localhost", f"[{host}]" if ":" in host else host}
        if not is_loopback(host):
            names.add(socket.gethostname().lower())
        self._any = host in ("0.0.0.0", "::")
        self._names = names

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, or refuse."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                if "cache-control" not in headers:
                    headers["cache-control"] = "no-store"
            await send(message)

        refused = self._refused(scope, Headers(scope=scope))
        if refused is not None:
            refused.headers["connection"] = "close"  # else the rest of a body is read all the same
        await (refused or self._app)(scope, receive, sent)

    def _refused(self, scope: Scope, headers: Headers) -> Response | None:
        """Response that refuses a request; None for one that may go on."""
        hosts = headers.getlist("host")
        if len(hosts) != 1 or not self._knows(hosts[0]):
            return PlainTextResponse("Unknown host.\n", 421)
        method, path = scope["method"], scope["path"]
        if method not in ("GET", "HEAD", "POST"):
            return PlainTextResponse("Not allowed.\n", 405)
        site = headers.get("sec-fetch-site")
        if method == "POST":
            # A browser always says where a post comes from; what does not is no page of ours.
            if headers.getlist("origin") != [f"http://{hosts[0]}"] or site not in (None, *OURS):
                return PlainTextResponse("Posts come from this page only.\n", 403)
        elif site not in (None, *OURS) and path != "/":
            return PlainTextResponse("Not for other sites.\n", 403)
        if not SHIPPED.fullmatch(path) and not self._admits(scope, headers):
            return PlainTextResponse(CLOSED, 403)
        return self._too_large(headers, MEASURED if path == "/api/calibrate" else CASE)

    def _knows(self, host: str) -> bool:
        """Whether a Host header names this server: any other name could be made to point here."""
        if self._port == HTTP and not PORTED.search(host):
            host = f"{host}:{HTTP}"  # browsers leave the usual port out
        name, _, port = host.rpartition(":")
        if not host.isascii() or port != str(self._port):
            return False
        return name.lower() in self._names or (self._any and _is_address(name))

    def _admits(self, scope: Scope, headers: Headers) -> bool:
        """Whether a request holds the token, or the pass of the file that it asks for."""
        told = headers.getlist("authorization")
        if len(told) == 1 and _same(told[0], f"Bearer {self._token}"):
            if self._opener is not None:
                self._opener.unlink(missing_ok=True)
            return True
        file = FILE.fullmatch(scope["path"])
        if file is None or scope["method"] == "POST":
            return False
        given = parse_qs(scope["query_string"].decode("latin-1")).get("pass", [])
        return len(given) == 1 and _same(given[0], pass_of(self._token, file[1]))

    @staticmethod
    def _too_large(headers: Headers, most: int) -> Response | None:
        told = headers.get("content-length", "0")
        if told.isdigit() and len(told) < 20 and int(told) <= 2 * most:
            return None
        return PlainTextResponse("Too large.\n", 413)


def _same(given: str, wanted: str) -> bool:
    return hmac.compare_digest(given.encode(), wanted.encode())


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name.strip("[]"))
    except ValueError:
        return False
    return True
