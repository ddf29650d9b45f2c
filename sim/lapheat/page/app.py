"""What the page asks the server, and what it answers."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.background import BackgroundTask
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route

from ..case.faults import CaseError, printable
from ..case.file import read_case_text, starter_text
from ..version import __version__
from .checked import FILE, case_text_of, checked, told_fault
from .form import form, values_of
from .guard import CASE, MEASURED, Guard, pass_of
from .jobs import KINDS, OPEN, Job, Jobs
from .runner import Runner

__all__ = ["app_of"]

BROWSER = files(__package__) / "browser"
KINDS_OF_FILE = {
    "html": "text/html",
    "css": "text/css",
    "js": "text/javascript",
    "svg": "image/svg+xml",
}
SHOWN = {".png": "image/png"}  # what may be shown in the page; all else is handed over as a file
WAIT = 60.0  # [s] for the body of a request
CLOSE = {"connection": "close"}  # else the rest of a body is read, and thrown away
TEXT, NUMBER = 2000, (int, float)

# What may be asked of each kind of job: the name of an option and its type.
OPTIONS: Mapping[str, Mapping[str, Any]] = {
    "run": {"converge": bool},
    "explain": {"detail": str},
    "find": {"sure": NUMBER, "free": str, "fix": str, "detail": str},
    "window": {"vary": list, "free": str, "sure": NUMBER, "detail": str},
    "risk": {"samples": int, "seed": int, "detail": str},
    "sequences": {"orders": str, "equal_interpass": bool, "detail": str},
    "calibrate": {"fit": str, "clock": bool, "reading_error": str, "detail": str},
    "compare": {"runs": list},
}


class _Page:
    """Routes of one server."""

    def __init__(self, jobs: Jobs, token: str) -> None:
        self.jobs, self.token, self.runner = jobs, token, Runner(jobs)

    @asynccontextmanager
    async def life(self, _: Starlette) -> AsyncIterator[None]:
        """Work off the queue as long as the server lives."""
        at_work = asyncio.create_task(self.runner.work())
        yield
        at_work.cancel()
        with suppress(asyncio.CancelledError):
            await at_work

    async def shipped(self, request: Request) -> Response:
        """Hand out a file of the page itself."""
        name = request.path_params.get("name", "index.html")
        kind = KINDS_OF_FILE.get(name.rpartition(".")[2])
        if kind is None or name not in _NAMES:
            raise HTTPException(404)
        text = BROWSER.joinpath(name).read_bytes()
        return Response(text, media_type=kind, headers={"cache-control": "private, no-cache"})

    async def form(self, _: Request) -> Response:
        """Describe the form, and fill it as it was left, or with the starter case."""
        draft = self.jobs.draft
        values, more = values_of(starter_text())
        if draft is not None:
            values, more = draft["values"], draft["more"]
        return JSONResponse(
            {"tables": form(), "values": values, "more": more, "version": __version__}
        )

    async def check(self, request: Request) -> Response:
        """Read a form."""
        values, more = _form_in(await _json(request, CASE))
        told = await run_in_threadpool(checked, values, more)
        return JSONResponse(told, background=BackgroundTask(self.jobs.keep_draft, values, more))

    async def open(self, request: Request) -> Response:
        """Take a case file apart into fields."""
        text = _text(await _body(request, CASE))
        try:
            values, more = values_of(text)
        except ValueError:
            try:  # in the words of the command line
                read_case_text(text, FILE)
            except CaseError as error:
                return JSONResponse({"faults": [told_fault(fault) for fault in error.faults]}, 422)
            raise HTTPException(422) from None
        return JSONResponse({"values": values, "more": more})

    async def text(self, request: Request) -> Response:
        """Write the case file of a form."""
        values, more = _form_in(await _json(request, CASE))
        try:
            return _handed(case_text_of(values, more).encode(), FILE)
        except CaseError as error:
            return JSONResponse({"faults": [told_fault(fault) for fault in error.faults]}, 422)

    async def runs(self, request: Request) -> Response:
        """List all jobs, unless the asker has them already."""
        told = {"version": self.jobs.version, "progress": self.runner.progress}
        if request.query_params.get("version") == str(self.jobs.version):
            return JSONResponse(told)
        return JSONResponse(told | {"runs": [asdict(job) for job in self.jobs]})

    async def add(self, request: Request) -> Response:
        """Put a job in the queue."""
        calibrate = request.url.path == "/api/calibrate"
        told = await _json(request, 2 * MEASURED if calibrate else CASE)
        kind = told.get("kind")
        if kind not in KINDS or (kind == "calibrate") != calibrate:
            raise HTTPException(422, "no such kind of work")
        options = _options(kind, told.get("options", {}))
        texts: dict[str, str] = {}
        title = ""
        if kind == "compare":
            runs = [self._job(name) for name in options.get("runs", [])]
            if len(runs) < 2 or any(run.kind != "run" or run.state != "done" for run in runs):
                raise HTTPException(422, "a comparison is of two or more finished runs")
            title = " and ".join(run.title for run in runs)
        else:
            values, more = _form_in(told)
            try:
                texts[FILE] = case_text_of(values, more)
                title = read_case_text(texts[FILE], FILE).title
            except CaseError as error:
                return JSONResponse({"faults": [told_fault(fault) for fault in error.faults]}, 422)
            texts["form.json"] = json.dumps({"values": values, "more": more})
        if calibrate:
            texts["measured.csv"] = _measured(told.get("measured"))
        try:
            job = self.jobs.add(kind, printable(title), options, texts)
        except ValueError as error:
            raise HTTPException(409, str(error)) from None
        self.runner.wake()
        return JSONResponse({"id": job.id})

    def _job(self, name: object) -> Job:
        job = self.jobs.get(name) if isinstance(name, str) else None
        if job is None:
            raise HTTPException(404, "there is no such run")
        return job

    async def stop(self, request: Request) -> Response:
        """Stop a job at once."""
        await self.runner.stop(self._job(request.path_params["id"]))
        return JSONResponse({})

    async def remove(self, request: Request) -> Response:
        """Forget a job that is not at work, with its files."""
        job = self._job(request.path_params["id"])
        if job.state in OPEN:
            raise HTTPException(409, "stop it first")
        await run_in_threadpool(self.jobs.remove, job)
        return JSONResponse({})

    async def run(self, request: Request) -> Response:
        """Tell all of a job: its state, its form, its answer, the names of its files."""
        job = self._job(request.path_params["id"])
        folder = self.jobs.at(job)
        told: dict[str, Any] = {"job": asdict(job), "files": self.jobs.files(job)}
        told["pass"] = pass_of(self.token, job.id)
        for name, file in (("form", "form.json"), ("view", "view.json")):
            path = folder / file
            told[name] = json.loads(path.read_text("utf-8")) if path.is_file() else None
        return JSONResponse(told)

    async def frames(self, request: Request) -> Response:
        """Hand out the temperatures of the part in three dimensions."""
        path = self.jobs.at(self._job(request.path_params["id"])) / "frames.bin"
        if not path.is_file():
            raise HTTPException(404)
        return FileResponse(path, media_type="application/octet-stream")

    async def file(self, request: Request) -> Response:
        """Hand out a file of a result: one of those that are there, by its very name."""
        job, name = self._job(request.path_params["id"]), request.path_params["name"]
        if name not in self.jobs.files(job):
            raise HTTPException(404)
        path = self.jobs.at(job) / "result" / name
        shown = SHOWN.get(path.suffix)
        if shown is not None and "save" not in request.query_params:
            return FileResponse(path, media_type=shown)
        return FileResponse(path, filename=path.name, media_type="application/octet-stream")


_NAMES = frozenset(item.name for item in BROWSER.iterdir())


def app_of(jobs: Jobs, token: str, host: str, port: int, opener: Path | None = None) -> Guard:
    """Make the application that serves these jobs.

    Parameters
    ----------
    jobs : of the data folder
    token : secret without which nothing is told but the page itself
    host, port : where it will listen
    opener : file that is deleted once the token in it was used
    """
    page = _Page(jobs, token)
    routes = [
        Route("/", page.shipped),
        Route("/browser/{name}", page.shipped),
        Route("/api/form", page.form),
        Route("/api/check", page.check, methods=["POST"]),
        Route("/api/open", page.open, methods=["POST"]),
        Route("/api/text", page.text, methods=["POST"]),
        Route("/api/runs", page.runs),
        Route("/api/runs", page.add, methods=["POST"]),
        Route("/api/calibrate", page.add, methods=["POST"]),
        Route("/api/runs/{id}", page.run),
        Route("/api/runs/{id}/stop", page.stop, methods=["POST"]),
        Route("/api/runs/{id}/remove", page.remove, methods=["POST"]),
        Route("/api/runs/{id}/frames", page.frames),
        Route("/api/runs/{id}/files/{name:path}", page.file),
    ]
    app = Starlette(routes=routes, lifespan=page.life, exception_handlers={HTTPException: _told})
    return Guard(app, token, host, port, opener)


async def _told(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return PlainTextResponse(f"{printable(error.detail)}\n", error.status_code, error.headers)


async def _body(request: Request, most: int) -> bytes:
    """Body of a request, never more of it than is allowed."""
    parts, size = [], 0
    try:
        async with asyncio.timeout(WAIT):
            async for part in request.stream():
                size += len(part)
                if size > most:
                    raise HTTPException(413, f"at most {most / 1e6:.0f} MB", CLOSE)
                parts.append(part)
    except TimeoutError:
        raise HTTPException(408, headers=CLOSE) from None
    return b"".join(parts)


def _text(body: bytes) -> str:
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise HTTPException(422, "the file is not UTF-8: save it again as UTF-8") from None


async def _json(request: Request, most: int) -> dict[str, Any]:
    """Table that was sent: its numbers are finite and its texts can be written."""
    try:
        told = json.loads(_text(await _body(request, most)), parse_constant=_no_number)
        json.dumps(told, ensure_ascii=False, allow_nan=False).encode()
    except UnicodeEncodeError:
        raise HTTPException(422, "a text has half a character (a lone surrogate)") from None
    except (ValueError, RecursionError):
        raise HTTPException(422, "no JSON") from None
    if not isinstance(told, dict):
        raise HTTPException(422, "no table")
    return told


def _no_number(name: str) -> float:
    raise ValueError(name)


def _form_in(told: Mapping[str, Any]) -> tuple[dict[str, str], str]:
    values, more = told.get("values"), told.get("more", "")
    if not isinstance(values, dict) or not isinstance(more, str) or len(values) > 2000:
        raise HTTPException(422, "no form")
    if not all(isinstance(text, str) for text in values.values()):
        raise HTTPException(422, "a field is no text")
    return values, more


def _options(kind: str, given: Any) -> dict[str, Any]:
    known = OPTIONS[kind]
    if not isinstance(given, dict) or not given.keys() <= known.keys():
        raise HTTPException(422, f"{kind} takes {', '.join(known)}")
    for name, value in given.items():
        texts = value if isinstance(value, list) else [value] if isinstance(value, str) else []
        good = isinstance(value, known[name]) and len(texts) <= 20
        if not good or not all(isinstance(t, str) and len(t) <= TEXT for t in texts):
            raise HTTPException(422, f"{name} is of another kind")
        if isinstance(value, bool) and known[name] is not bool:
            raise HTTPException(422, f"{name} is of another kind")
    return dict(given)


def _measured(given: Any) -> str:
    if not isinstance(given, str) or not given.strip():
        raise HTTPException(422, "nothing was measured: choose a file or type values")
    if len(given.encode("utf-8", "replace")) > MEASURED:
        raise HTTPException(413, f"at most {MEASURED / 1e6:.0f} MB")
    return given


def _handed(content: bytes, name: str) -> Response:
    head = {"content-disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type="application/octet-stream", headers=head)
