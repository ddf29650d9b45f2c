"""A served page for tests: a small joint, a client with every right header, a real server."""

from __future__ import annotations

import asyncio
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from time import monotonic, sleep
from typing import Any
from urllib.parse import unquote

from starlette.datastructures import Headers
from starlette.types import ASGIApp, Message

from lapheat.page.app import app_of
from lapheat.page.jobs import Jobs

TOKEN = "t" * 43
PORT = 8329
HOST = f"127.0.0.1:{PORT}"

# Brazes well with segments of 10 mm; with one segment of 37 mm a stretch stays dry.
SMALL = """title = "Small"

[tube]
outside_diameter = "12 mm"
wall = "1.2 mm"
length = "20 mm"

[flange]
thickness = "3 mm"
outside_diameter = "30 mm"

[arc]
current = "55 A"
spot = "1.6 mm"
aim = "0.6 mm"
control = "pedal"
hold = "1240 degC"

[travel]
speed = "3 mm/s"
segment = "10 mm"
pause = "4 s"
start = "on-flow"

[numerics]
detail = "coarse"
"""


@dataclass(frozen=True)
class Answer:
    """What the page answered."""

    status_code: int
    headers: Headers
    content: bytes

    @property
    def text(self) -> str:
        return self.content.decode()

    def json(self) -> Any:
        return json.loads(self.content)


@dataclass
class Client:
    """Asks a page in this process as a browser would, but sends paths as they are.

    No job is worked on.
    """

    app: ASGIApp
    headers: dict[str, str]

    def get(self, path: str, headers: Mapping[str, str] = {}) -> Answer:
        return self.request("GET", path, headers=headers)

    def post(
        self, path: str, content: str | bytes = b"", headers: Mapping[str, str] = {}
    ) -> Answer:
        return self.request("POST", path, content, headers)

    def request(
        self, method: str, path: str, content: str | bytes = b"", headers: Mapping[str, str] = {}
    ) -> Answer:
        body = content.encode() if isinstance(content, str) else content
        sent = self.headers | {"content-length": str(len(body))} | dict(headers)
        raw, _, query = path.partition("?")
        scope: dict[str, Any] = {
            "type": "http",
            "asgi": {"version": "3.0", "spec_version": "2.4"},
            "http_version": "1.1",
            "method": method,
            "scheme": "http",
            "path": unquote(raw),
            "raw_path": raw.encode(),
            "query_string": query.encode(),
            "root_path": "",
            "headers": [(name.encode(), value.encode()) for name, value in sent.items()],
        }
        parts = [body[at : at + 65536] for at in range(0, len(body), 65536)] or [b""]
        told: list[Message] = []

        async def receive() -> Message:
            if not parts:
                return {"type": "http.disconnect"}
            return {"type": "http.request", "body": parts.pop(0), "more_body": bool(parts)}

        async def send(message: Message) -> None:
            told.append(message)

        asyncio.run(self.app(scope, receive, send))
        start, *rest = told
        content = b"".join(each.get("body", b"") for each in rest)
        return Answer(start["status"], Headers(raw=start["headers"]), content)


def client(folder: Path, address: str = "127.0.0.1", port: int = PORT, **headers: str) -> Client:
    """Client with every header right but those given."""
    usual = {"host": HOST, "origin": f"http://{HOST}", "authorization": f"Bearer {TOKEN}"}
    return Client(app_of(Jobs(folder / "jobs"), TOKEN, address, port), usual | headers)


class Server:
    """`lapheat page` in a process of its own."""

    def __init__(self, data: Path, port: int | None = None) -> None:
        call = "from lapheat.cli import main; main()"
        given = ["page", "--data", str(data), "--no-browser"]
        given += [] if port is None else ["--port", str(port)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", call, *given],
            stdout=subprocess.PIPE,
            text=True,
            env={
                **os.environ,
                "PYTHONPATH": os.pathsep.join(sys.path),
                "OPENBLAS_NUM_THREADS": "1",
            },
        )
        assert self.process.stdout is not None
        found = re.search(r"http://\S+", self.process.stdout.readline())
        assert found is not None
        self.address = found[0]
        self.base = self.address.partition("/#")[0]
        self.port = int(self.base.rpartition(":")[2])
        self.token = self.address.partition("token=")[2]

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.send_signal(signal.SIGKILL)
        self._gone()

    def close(self) -> None:
        """End it as Ctrl-C would."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
        self._gone()

    def _gone(self) -> None:
        self.process.wait(20)
        assert self.process.stdout is not None
        self.process.stdout.close()


def until(holds: object, seconds: float = 60.0) -> None:
    """Wait until a function is true."""
    assert callable(holds)
    end = monotonic() + seconds
    while not holds():
        assert monotonic() < end, "it never came true"
        sleep(0.05)
