"""Errors of the command line's own words: which option, what was given, what is allowed.

The library that reads the command line has words of its own for them, other ones in each release.
Its kinds of error are used here and what our commands declare; its message only for surplus words.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from enum import Enum
from inspect import Parameter, signature
from pathlib import Path
from typing import Any, get_args, get_type_hints

import typer
from typer.models import ArgumentInfo, OptionInfo

from ...case.faults import Fault, did_you_mean, shown

__all__ = ["usage_fault"]


def usage_fault(error: Any, typed: Sequence[str], app: typer.Typer) -> Fault:
    """Say what is wrong with a command line.

    Parameters
    ----------
    error : of the library that reads it
    typed : the words after the program's name
    app : with all commands
    """
    functions = [made.callback for made in app.registered_commands if made.callback is not None]
    commands = {function.__name__: function for function in functions}
    word = next((word for word in typed if not word.startswith("-")), "")
    function = commands.get(word)
    line = f"lapheat {word}" if function else "lapheat"
    help_ = f"{line} --help says more"
    kind, option = type(error).__name__, str(getattr(error, "option_name", ""))
    param = getattr(error, "param", None)
    if param is not None and function:
        return _of_value(param, typed, kind == "MissingParameter", function, help_)
    if kind == "NoSuchOption":
        params = error.ctx.command.params if error.ctx else []
        hint = did_you_mean(option, [name for param in params for name in param.opts])
        given = f"an option that {line} does not have"
        return Fault("", option, given, "one of its options", hint or help_)
    if option:
        value = next((w.partition("=")[2] for w in typed if w.startswith(f"{option}=")), None)
        allowed = "a value behind it" if value is None else "no value: it is on if it is there"
        return Fault("", option, "nothing" if value is None else shown(value), allowed, help_)
    if function:
        more = re.search(r"argument(?:\(s\)|s)? \((.*)\)$", str(error.message), re.DOTALL)
        given = shown(more[1] if more else str(error.message))
        return Fault("", line, given, f"nothing more than {_places(function)}", help_)
    hint = did_you_mean(word, commands) if word else ""
    given = shown(word) if word else "nothing"
    return Fault("", "command", given, ", ".join(commands), hint or help_)


def _places(function: Callable[..., Any]) -> str:
    """Arguments of a command, as its help names them, and its options."""
    made = (_declared(function, name)[1] for name in signature(function).parameters)
    named = [str(info.metavar) for info in made if isinstance(info, ArgumentInfo)]
    return " and ".join([*named, "its options"])


def _of_value(
    param: Any, typed: Sequence[str], missing: bool, function: Callable[..., Any], hint: str
) -> Fault:
    """Say what is wrong with the value of an option or an argument of a command."""
    declared, made = _declared(function, param.name)
    option = isinstance(made, OptionInfo)
    key = max(param.opts, key=len) if option else str(made.metavar or param.name)
    # an argument is a path, and nothing else is wrong with one
    values = _values(param.opts, typed) if option else (word for word in typed if "\0" in word)
    given = "nothing" if missing else shown(next(values, ""))
    if missing and not option:
        told = str(made.help).rstrip(".")
        return Fault("", key, given, f"{told[0].lower()}{told[1:]}", hint)
    return Fault("", key, given, _allowed(declared, made), hint)


def _declared(function: Callable[..., Any], name: str) -> tuple[Any, OptionInfo | ArgumentInfo]:
    """Type of a parameter without None, and the option or argument it is."""
    parameter: Parameter = signature(function).parameters[name]
    hint = get_type_hints(function, include_extras=True).get(name, parameter.annotation)
    declared, made = get_args(hint)[:2]
    kinds = [kind for kind in get_args(declared) if kind is not type(None)]
    return kinds[0] if kinds else declared, made


def _values(names: Sequence[str], typed: Sequence[str]) -> Iterator[str]:
    """What was typed for an option, the last first: that is the one which counts."""
    for at in range(len(typed) - 1, -1, -1):
        name, equals, value = typed[at].partition("=")
        if name in names and equals:
            yield value
        elif name in names and at + 1 < len(typed):
            yield typed[at + 1]


def _allowed(kind: Any, made: Any) -> str:
    """What a parameter takes, in words."""
    if isinstance(kind, type) and issubclass(kind, Enum):
        return " or ".join(str(item.value) for item in kind)
    word = {int: "a whole number", float: "a number", Path: "a path without a null byte"}.get(
        kind, "a text"
    )
    low, high = (end if end is None else f"{end:g}" for end in (made.min, made.max))
    if low is None or high is None:
        return word + (f" of {low} or more" if low else f" of at most {high}" if high else "")
    return f"{word} from {low} to {high}"
