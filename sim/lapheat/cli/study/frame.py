"""What commands of many runs share: their options, their record, and the way from case to files.

A command declares its own options alone; `study_command` puts the shared ones under them, reads
them into a `Study` and calls it.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from inspect import Parameter, Signature, signature
from pathlib import Path
from shlex import quote
from typing import TYPE_CHECKING, Annotated, Any, TypeVar, get_type_hints

from ...study.runs import HOURS
from ..terminal.exits import Left, ending
from ..terminal.options import (
    CaseFile,
    ClusterAddress,
    Debug,
    Hours,
    Resume,
    Set,
    Workers,
    mesh_option,
    out_option,
)

if TYPE_CHECKING:
    from rich.console import RenderableType

    from ...study.runs import Planner, RowFile, Source

__all__ = ["Study", "carried_out", "command_line", "page", "share_of", "study_command"]

Found = TypeVar("Found")


@dataclass(frozen=True)
class Study:
    """What every command of many runs is asked.

    Attributes
    ----------
    ends : the end of its result folder's name
    file, changes, out, workers, cluster, resume, hours : as on the command line
    detail : mesh as on the command line; None if nothing was said
    left : kept up to date with what an early end would leave behind
    """

    ends: str
    file: Path
    changes: tuple[str, ...]
    detail: str | None
    out: Path | None
    workers: int | None
    cluster: str | None
    resume: bool
    left: Left
    hours: float = HOURS

    @cached_property
    def text(self) -> Source:
        """Case file, read once; what is in it may have faults.

        Raises
        ------
        CaseError
            It cannot be read.
        """
        from ...study.runs import Source  # reading a case takes pydantic and pint

        return Source.of(self.file, self.changes)

    @cached_property
    def source(self) -> Source:
        """The same without faults.

        Raises
        ------
        CaseError
            It cannot be read, it has faults, or there is no such detail.
        """
        self.text.case((), self.detail)
        return self.text

    @property
    def mesh(self) -> str:
        """Mesh of the runs where that is coarse by default."""
        return self.detail or "coarse"

    def folder(self, ours: Sequence[str]) -> Path:
        """Result folder, `ours` the names in it: NAME.window beside the case by default.

        Raises
        ------
        CaseError
            It must not be used.
        """
        from ...report.folder import check_folder

        beside = self.file.with_name(f"{self.file.stem}.{self.ends}")
        return check_folder(beside if self.out is None else self.out, tuple(ours))


def study_command(ends: str, mesh: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Make a command of a function of a `Study` and of the command's own options.

    Parameters
    ----------
    ends : the end of its result folder's name
    mesh : help of --detail
    """
    shared: Mapping[str, tuple[Any, object]] = {
        "workers": (Workers, None),
        "cluster": (ClusterAddress, None),
        "out": (
            Annotated[Path | None, out_option(f"Result folder. CASE-NAME.{ends} beside the case.")],
            None,
        ),
        "resume": (Resume, False),
        "hours": (Hours, HOURS),
        "changes": (Set, None),
        "detail": (Annotated[str | None, mesh_option(mesh)], None),
    }

    def command_of(function: Callable[..., None]) -> Callable[..., None]:
        def command(case: Path, debug: bool, changes: list[str] | None, **given: Any) -> None:
            asked = {key: given.pop(key) for key in shared if key in given}
            with ending(debug) as left:
                function(Study(ends, case, tuple(changes or ()), left=left, **asked), **given)

        hints = get_type_hints(function, include_extras=True)
        own = [p.replace(annotation=hints[p.name]) for p in signature(function).parameters.values()]
        keyword = Parameter.KEYWORD_ONLY
        parameters = [
            Parameter("case", keyword, annotation=CaseFile),
            *(parameter.replace(kind=keyword) for parameter in own[1:]),
            *(Parameter(key, keyword, annotation=a, default=d) for key, (a, d) in shared.items()),
            Parameter("debug", keyword, annotation=Debug, default=False),
        ]
        command.__name__, command.__doc__ = function.__name__, function.__doc__
        # typer reads a function's signature; mypy does not know that one may be given
        command.__signature__ = Signature(parameters)  # type: ignore[attr-defined]
        command.__annotations__ = {p.name: p.annotation for p in parameters}
        return command

    return command_of


def share_of(text: str) -> float:
    """Share that --sure asks for: "90%" or "0.9".

    Raises
    ------
    CaseError
        It is none from 0.5 to 0.99.
    """
    from ...case.file import CaseError

    try:
        percent = text.strip().endswith("%")
        value = float(text.strip().removesuffix("%")) / (100.0 if percent else 1.0)
    except ValueError:
        value = 0.0
    if not 0.5 <= value <= 0.99:
        raise CaseError.one("", "--sure", text, "a share from 50 % to 99 %", 'for example "90%"')
    return value


def command_line(
    study: Study, name: str, inputs: Sequence[tuple[str, str]] = (), more: str = ""
) -> str:
    """Write a command for the case of this one, its changes and more settings put over it.

    Parameters
    ----------
    study : what was asked
    name : of the command
    inputs : keys and values, as text
    more : options
    """
    sets = [*study.changes, *(f"{key}={text}" for key, text in inputs)]
    parts = [f"lapheat {name} {quote(str(study.file))}", *(f"--set {quote(s)}" for s in sets)]
    return " ".join([*parts, more]).strip()


def carried_out(
    study: Study,
    folder: Path,
    planner: Planner[Found],
    write: Callable[[Found, Path, RowFile], tuple[Path, ...]],
    most: tuple[int, int],
    least: tuple[int, int] | None = None,
    fits: type | None = None,
) -> tuple[Found, tuple[Path, ...]]:
    """Run a planner to its end and write its result folder; what was found, and the files.

    Parameters
    ----------
    study : what was asked
    folder : from `Study.folder`
    planner : fresh
    write : what was found, into the folder
    most : runs it takes at most, at its mesh and at the case's own
    least : runs it takes at least, where it mostly takes far fewer: then these are held to --hours
    fits : tasks of this kind are no runs

    Raises
    ------
    CaseError
        The cluster, rows of an unfinished study, or so long a study are refused.
    MarchError, ResultError
        A run that is needed failed, or the results could not be written.
    """
    from ...study.runs import drive, executor_of, warm_up
    from ...study.runs.effort import refuse_long
    from ..terminal.sweep import beforehand, counted, kept_rows, say

    case = study.source.case()
    with (
        executor_of(study.workers, study.cluster, warm_up) as executor,
        kept_rows(folder, study.resume, study.left) as store,
        counted(store, sum(most), fits) as count,
    ):
        refuse_long(case, study.mesh, least or most, executor.workers, study.hours)
        say(beforehand(case, study.mesh, most, executor.workers, least))
        found = drive(count.watch(planner), executor, store, count)
        count.say("drawing")
        files = write(found, folder, store)
    study.left.words = f"the results are whole, in {folder}"
    return found, files


def page(title: str, parts: Sequence[RenderableType], files: Sequence[Path]) -> RenderableType:
    """Lay out a study's title, what it found, cautions and files, for the terminal."""
    from rich.console import Group
    from rich.text import Text

    from ...case.faults import printable
    from ...report.sentences import CAUTIONS_IN_SHORT

    cautions = [
        Text(),
        Text("Cautions", style="bold"),
        *(Text(f"  {line}") for line in CAUTIONS_IN_SHORT),
    ]
    case = next((path for path in files if path.name == "case.toml"), None)
    kept = sorted(path.name for path in case.parent.glob("case.*")) if case is not None else []
    older = ", ".join(name for name in kept if name != "case.toml")
    if older:
        cautions += [Text(), Text(printable(f"Of the case.toml that was there before: {older}."))]
    paths = [Text(f"  {printable(str(path))}") for path in files]
    ends = [Text(), Text("Files", style="bold"), *paths] if files else []
    return Group(Text(printable(title), style="bold"), *parts, *cautions, *ends)
