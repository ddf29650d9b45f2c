"""The process that computes: it takes one job after the other from the server that started it.

A job comes in as a line of JSON on stdin and is answered by lines on stdout: its progress, then how
it ended. Stopping a job is killing the process. When stdin ends the server is gone, and so is this.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any, TextIO

from .words import in_page

if TYPE_CHECKING:
    from ..api import Result
    from ..case.case import Case
    from ..march.march import Progress
    from ..study.answer import Answer

__all__ = ["carry_out", "main"]

Say = Callable[[dict[str, Any]], None]
PERIOD = 0.2  # [s] between what is told of progress


class _Pace:
    """Tells progress at most so often, with the time left."""

    def __init__(self, say: Say) -> None:
        self._say, self._began, self._next, self._doing = say, monotonic(), 0.0, ""
        self._first = 0.0  # done when it began: rows that an earlier attempt kept took no time

    def told(self, doing: str, done: float, count: float, text: str = "") -> None:
        """Tell of `done` of `count`; a new `doing` starts the clock anew."""
        now = monotonic()
        if doing != self._doing:
            self._doing, self._began, self._next, self._first = doing, now, 0.0, done
        if now < self._next:
            return
        self._next = now + PERIOD
        fresh = done - self._first
        left = (now - self._began) / fresh * (count - done) if 0.0 < fresh <= count else None
        share = min(done / count, 1.0) if count else None
        runs = f"{doing}, {done:.0f} of {count:.0f}" if count > 1 else doing
        self._say({"text": text or runs, "share": share, "left_s": left})


def carry_out(folder: Path, job: Mapping[str, Any], say: Say) -> dict[str, Any]:
    """Do one job in its folder and tell how it ended: `summary`, `works` and of a run `undecided`.

    Parameters
    ----------
    folder : of the job, with `case.toml` in it
    job : its `kind` and `options`, and for `compare` the `folders` and `names` of its runs
    say : told where the work is

    Raises
    ------
    CaseError
        The case, or something asked for, is refused.
    MarchError, ResultError
        The computation failed, or its results could not be written.
    """
    pace = _Pace(say)
    say({"text": "preparing; the first run of all also compiles, a minute or two"})
    if job["kind"] == "run":
        return _run(folder, job["options"], pace)
    return _study(folder, job, pace)


def _run(folder: Path, options: Mapping[str, Any], pace: _Pace) -> dict[str, Any]:
    from .. import api
    from ..case.file import read_case
    from ..march.expected import expected_of
    from ..report.progress import Stage
    from .view import frames_of, run_view

    meshes = bool(options.get("converge"))
    case = read_case(folder / "case.toml", (), "fine" if meshes else None)
    stage, total = Stage(case), expected_of(case).total

    def computed(case: Case, shorter: float) -> Result:
        steps = "half steps, " if shorter > 1.0 else ""
        stage.start(f"{case.detail} mesh, {steps}" if meshes else "")

        def follow(where: Progress) -> None:
            stage.follow(where)
            if where.time > 0.0:
                pace.told(stage.head or "run", where.time, total, stage.text(where))

        # kept for the part in three dimensions: reading the state changes no outcome
        kept = ("film",) if not meshes or case.detail == "fine" else ()
        return api.simulate(case, report=follow, shorter=shorter, keep=kept)

    result = api.converge(case, computed) if meshes else computed(case, 1.0)
    pace.told("drawing", 0, 1)
    view, frames = run_view(result), frames_of(result.history)
    plain = replace(result, history=replace(result.history, film=None))
    plain.save(folder / "result")
    _write(folder / "view.json", view)
    (folder / "frames.bin").write_bytes(frames)
    judgement = result.outcomes.verdict.judgement
    return {
        "summary": in_page(result.outcomes.verdict.summary),
        "works": not judgement.fails,
        "undecided": judgement.undecided,
    }


def _study(folder: Path, job: Mapping[str, Any], pace: _Pace) -> dict[str, Any]:
    kind, options = job["kind"], job["options"]
    case, rows = folder / "case.toml", folder / "rows.jsonl"
    answer: Answer[Any]
    if kind == "compare":
        from ..study.side_by_side import compare

        answer = compare(*job["folders"], names=job["names"])
    else:
        from ..study import functions
        from ..study.runs import HOURS

        cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
        asked: dict[str, Any] = {"workers": cores or 1, "count": pace.told, "hours": HOURS}
        asked["rows"] = rows  # a study whose server died goes on from there
        asked |= options
        if kind == "calibrate":
            answer = functions.calibrate(case, folder / "measured.csv", **asked)
        else:
            answer = getattr(functions, kind)(case, **asked)
    pace.told("drawing", 0, 1)
    answer.save(folder / "result")
    rows.unlink(missing_ok=True)
    lines = [in_page(line) for line in answer.lines()]
    view = {
        "title": answer.title,
        "lines": lines,
        "told": answer.told,
        "rows": answer.rows,
    }
    _write(folder / "view.json", view)
    fitted = (
        f"{name} {told['value']:.4g} {told['unit']}".strip()
        for name, told in answer.told.get("fitted", {}).items()
    )
    summary = in_page(answer.why) or "; ".join(lines[:2]) or ", ".join(fitted)
    return {"summary": summary, "works": _works(kind, answer.told)}


def _works(kind: str, told: Mapping[str, Any]) -> bool | None:
    """Whether a study found something that works; None where that was not asked."""
    if kind in ("explain", "calibrate"):
        found: bool | None = told.get("works" if kind == "explain" else "fits")
        return found
    return told.get("pick") is not None if kind in ("find", "window", "sequences") else None


def _write(path: Path, content: Any) -> None:
    path.write_text(json.dumps(content, ensure_ascii=False, allow_nan=False), "utf-8")


def _ended(folder: Path, job: Mapping[str, Any], say: Say) -> dict[str, Any]:
    """Carry a job out; what went wrong, in words."""
    from ..case.faults import CaseError, printable_lines
    from ..march.errors import MarchError
    from ..report.folder import ResultError

    try:
        return {"state": "done", **carry_out(folder, job, say)}
    except (CaseError, ResultError) as error:
        told = str(error)
    except MarchError as error:
        told = f"the computation failed: {error}"
    except MemoryError:
        told = "the computation ran out of memory, which a coarser mesh needs less of"
    except Exception as error:  # the server must hear of whatever ends a job
        told = f"the computation failed, {type(error).__name__}: {error}"
    return {"state": "failed", "summary": printable_lines(told), "works": None}


def main() -> None:
    """Take jobs until stdin ends."""
    with os.fdopen(os.dup(sys.stdout.fileno()), "w", encoding="utf-8") as out:
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what packages print is no answer
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the server's
        asked: queue.Queue[dict[str, Any]] = queue.Queue()
        threading.Thread(target=_listen, args=(asked,), daemon=True).start()
        from .. import api  # so that the first job need not wait for it
        from .view import run_view

        del api, run_view
        while True:
            job = asked.get()

            def say(told: Mapping[str, Any], name: str = job["id"]) -> None:
                _tell(out, {"id": name, **told})

            say(_ended(Path(job["folder"]), job, say))


def _listen(asked: queue.Queue[dict[str, Any]]) -> None:
    for line in sys.stdin:
        asked.put(json.loads(line))
    # The server is gone: away with this process and with the workers of a study.
    if hasattr(os, "killpg") and os.getpgid(0) == os.getpid():
        os.killpg(os.getpid(), signal.SIGKILL)
    os._exit(1)


def _tell(out: TextIO, told: Mapping[str, Any]) -> None:
    out.write(json.dumps(told) + "\n")
    out.flush()


if __name__ == "__main__":
    main()
