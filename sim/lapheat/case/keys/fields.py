"""The kinds of value a key of a case file can hold, as pydantic annotations.

Each kind says in words what it allows, so that a fault, the editor's schema and the range check
come from one place. A value that was already refused is replaced by `REFUSED` and read once more:
it is then NaN, with which no comparison is true, so the checks across keys stay silent about it.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass
from typing import Any

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from ..faults import did_you_mean
from ..units import Kind, Quantity, UnitError, read_quantity

__all__ = ["REFUSED", "Entry", "Name", "Of", "OneOf", "Order", "Range", "Text", "refuse"]

REFUSED = Quantity(math.nan)


def refuse(allowed: str, hint: str = "") -> PydanticCustomError:
    """Error that refuses a value: what is allowed, and how to correct it."""
    return PydanticCustomError("refused", "{allowed}", {"allowed": allowed, "hint": hint})


class Entry:
    """Base of the kinds: `allowed` in words, `read` from TOML, `schema` for editors."""

    @property
    def allowed(self) -> str:
        """What is allowed here, in words."""
        raise NotImplementedError  # each kind of entry says it

    @property
    def schema(self) -> JsonSchemaValue:
        """JSON schema of it."""
        raise NotImplementedError

    def read(self, given: Any) -> Any:
        """Value, or a pydantic error."""
        raise NotImplementedError

    def _read(self, given: Any) -> Any:
        return given if given is None or given is REFUSED else self.read(given)

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        """Read through `read`; None means a key left out."""
        return core_schema.no_info_plain_validator_function(self._read)

    def __get_pydantic_json_schema__(
        self, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        """Hand on `schema`."""
        return dict(self.schema)


@dataclass(frozen=True)
class Of(Entry):
    """A quantity of a kind, in a range; `above` is a lowest value not itself allowed."""

    kind: Kind
    low: str | float | None = None
    high: str | float | None = None
    above: str | float | None = None

    @property
    def allowed(self) -> str:
        """Kind and range, in words."""
        if self.low is not None and self.high is not None:
            return f"{self.kind.name} from {self.low} to {self.high}"
        bounds = []
        if self.low is not None:
            bounds.append(f"at least {self.low}")
        if self.above is not None:
            bounds.append(f"above {self.above}")
        if self.high is not None:
            bounds.append(f"at most {self.high}")
        return " ".join([self.kind.name, " and ".join(bounds)]).strip()

    @property
    def schema(self) -> JsonSchemaValue:
        """Text with a unit, or a plain number."""
        text: JsonSchemaValue = {"type": "string"}
        if self.kind.si:
            return text | {"pattern": r"[0-9.]\s*[A-Za-z°%\"]"}
        number = {"minimum": self.low, "exclusiveMinimum": self.above, "maximum": self.high}
        bounds = {key: value for key, value in number.items() if value is not None}
        return {"anyOf": [{"type": "number", **bounds}, text]}

    def read(self, given: Any) -> Quantity:
        """SI value within the range."""
        try:
            value = read_quantity(given, self.kind)
        except UnitError as error:
            raise refuse(self.allowed, str(error)) from error
        outside = (
            (self.low is not None and value < read_quantity(self.low, self.kind))
            or (self.above is not None and value <= read_quantity(self.above, self.kind))
            or (self.high is not None and value > read_quantity(self.high, self.kind))
        )
        if outside:
            raise refuse(self.allowed)
        return value


@dataclass(frozen=True)
class Range(Entry):
    """A lowest and a highest quantity of a kind, each from `low` to `high`."""

    kind: Kind
    low: str
    high: str

    @property
    def allowed(self) -> str:
        """Two quantities, in words."""
        each = Of(self.kind, self.low, self.high).allowed
        return f"the lowest and the highest in brackets, each {each}"

    @property
    def schema(self) -> JsonSchemaValue:
        """List of two."""
        return {
            "type": "array",
            "items": Of(self.kind, self.low, self.high).schema,
            "minItems": 2,
            "maxItems": 2,
        }

    def read(self, given: Any) -> tuple[Quantity, Quantity]:
        """SI values, the lower one first."""
        hint = f'for example ["{self.low}", "{self.high}"]'
        if not isinstance(given, list) or len(given) != 2:
            raise refuse(self.allowed, hint)
        try:
            low, high = (Of(self.kind, self.low, self.high).read(item) for item in given)
        except PydanticCustomError as error:
            told = (error.context or {}).get("hint")
            raise refuse(self.allowed, told or hint) from error
        if low >= high:
            raise refuse(self.allowed, "the lowest stands first and is below the highest")
        return low, high


@dataclass(frozen=True)
class OneOf(Entry):
    """One of a few words."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """The words."""
        return " or ".join(f'"{word}"' for word in self.words)

    @property
    def schema(self) -> JsonSchemaValue:
        """The words."""
        return {"type": "string", "enum": list(self.words)}

    def read(self, given: Any) -> str:
        """The word."""
        if isinstance(given, str) and given in self.words:
            return given
        raise refuse(self.allowed, did_you_mean(given, self.words) if _is_text(given) else "")


@dataclass(frozen=True)
class Text(Entry):
    """One line of text; a number is taken as its digits (`alloy = 304`, `1.4307`)."""

    what: str

    @property
    def allowed(self) -> str:
        """What it is."""
        return self.what

    @property
    def schema(self) -> JsonSchemaValue:
        """Text."""
        return {"type": "string", "minLength": 1, "maxLength": 200}

    def read(self, given: Any) -> str:
        """The text without blanks at its ends."""
        number = isinstance(given, int | float) and not isinstance(given, bool)
        if number and abs(given) < 10**9:
            given = repr(given)
        if not _is_text(given):
            raise refuse(self.what, "write it in quotes")
        text: str = given.strip()
        if not text:
            raise refuse(self.what, "it is empty: write something or leave the key out")
        if len(text) > 200:
            raise refuse(self.what, "at most 200 characters")
        if any(not c.isprintable() and c != "\u00a0" for c in text):
            raise refuse(self.what, "one line, without control characters")
        return text


@dataclass(frozen=True)
class Name(Entry):
    """A name that can head a column."""

    @property
    def allowed(self) -> str:
        """Which characters."""
        return "a name of letters a-z and A-Z, digits, _ - and ., at most 40 characters"

    @property
    def schema(self) -> JsonSchemaValue:
        """Text with a pattern."""
        return {"type": "string", "pattern": "^[A-Za-z0-9_.-]{1,40}$"}

    def read(self, given: Any) -> str:
        """The name."""
        good = _is_text(given) and given.isascii() and 1 <= len(given) <= 40
        if not good or not all(c.isalnum() or c in "_-." for c in given):
            raise refuse(self.allowed)
        return str(given)


@dataclass(frozen=True)
class Order(Entry):
    """A named order, or the segment numbers themselves."""

    words: tuple[str, ...]

    @property
    def allowed(self) -> str:
        """The words, or numbers."""
        words = ", ".join(f'"{word}"' for word in self.words)
        return f"{words}, or a list of segment numbers from 1, each once"

    @property
    def schema(self) -> JsonSchemaValue:
        """The words, or numbers."""
        number = {"type": "integer", "minimum": 1}
        return {
            "anyOf": [
                {"type": "string", "enum": list(self.words)},
                {"type": "array", "items": number, "minItems": 1, "uniqueItems": True},
            ]
        }

    def read(self, given: Any) -> str | tuple[int, ...]:
        """The word, or a tuple of numbers."""
        if _is_text(given):
            if given in self.words:
                return str(given)
            raise refuse(self.allowed, did_you_mean(given, self.words))
        whole = isinstance(given, list) and all(
            isinstance(n, int) and not isinstance(n, bool) for n in given
        )
        if not whole or not given:
            raise refuse(self.allowed, "for example [1, 4, 2, 5, 3, 6]")
        twice = [number for number, times in Counter(given).items() if times > 1]
        if twice:
            raise refuse(self.allowed, f"segment {min(twice)} stands in it twice")
        if min(given) < 1:
            raise refuse(self.allowed, f"there is no segment {min(given)}")
        return tuple(given)


def _is_text(given: object) -> bool:
    return isinstance(given, str)
