"""What every table of a case file has in common."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidatorFunctionWrapHandler, field_validator

from .fields import REFUSED

__all__ = ["Table", "key"]


def key(default: Any = ..., *, description: str, examples: list[Any] | None = None) -> Any:
    """Declare a key; its default is text as a user would write it, read like the rest."""
    return Field(default, description=description, examples=examples)


class Table(BaseModel):
    """A table of a case file."""

    model_config = ConfigDict(extra="forbid", frozen=True, validate_default=True)

    @field_validator("*", mode="wrap", check_fields=False)
    @classmethod
    def _let_refused_pass(cls, given: Any, read: ValidatorFunctionWrapHandler) -> Any:
        return given if given is REFUSED else read(given)
