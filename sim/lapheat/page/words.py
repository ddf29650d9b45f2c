"""Texts of the command line in the words of the page: its fields for options, its buttons."""

from __future__ import annotations

__all__ = ["PHRASES", "in_page"]

# Whole phrases, as they stand in the program: nothing that a user wrote is touched.
PHRASES = {
    "a finer --detail or --converge tells": "a finer detail or “three meshes” tells",
    "(`lapheat run --converge`, or `lapheat compare --converge`)": "(“three meshes” beside “Run”)",
    "try --clock": "tick “the record may not begin with the arc”",
    "ask for more than --bounds allows": "ask for more than the bounds allow",
    "one from [alloys.NAME]": "one of your own, written below the fields",
}


def in_page(text: str) -> str:
    """Tell where the page has what a text of the command line names."""
    for said, here in PHRASES.items():
        text = text.replace(said, here)
    return text
