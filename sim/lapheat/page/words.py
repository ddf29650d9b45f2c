"""Texts of the command line in the words of the page: its fields for options, its buttons."""

from __future__ import annotations

import re

__all__ = ["in_page"]

# what the page calls an option; the others are on the command line only
NAMES = {
    "--bounds": "bounds",
    "--clock": "“the record may not begin with the arc”",
    "--converge": "“three meshes”",
    "--detail": "detail",
    "--equal-interpass": "“without pauses but the wait to cool”",
    "--fit": "“what is fitted”",
    "--fix": "“keys that stay as they are”",
    "--orders": "“orders”",
    "--samples": "“runs at most”",
    "--sure": "“chance wanted”",
    "--vary": "the axes",
}
OPTION = re.compile(r"--[a-z][a-z-]*")
COMMAND = re.compile(
    r"`?lapheat (run|explain|find|window|risk|sequences|calibrate|compare)\b( CASE)?( --\w+)?`?"
)
OWN_ALLOYS = "one from [alloys.NAME]"


def in_page(text: str) -> str:
    """Tell where the page has what a text of the command line names."""
    text = text.replace(OWN_ALLOYS, "one of your own, written below the fields")
    text = COMMAND.sub(lambda found: _button(found[1]), text)
    return OPTION.sub(lambda found: NAMES.get(found[0], found[0]), text)


def _button(command: str) -> str:
    return "“Orders”" if command == "sequences" else f"“{command.capitalize()}”"
