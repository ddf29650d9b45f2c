"""How a run compares with its limits, in words: margin, surplus, and what fails of the filler."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from ...outcomes.verdict import MAY_MOVE
from ...outcomes.wording import Wording, told_apart
from .executors import Row

if TYPE_CHECKING:
    from ...case.case import Case

__all__ = [
    "FAILS",
    "Failing",
    "fails_of",
    "laid_share",
    "margin_wanted",
    "near_limit",
    "part_of_ring",
    "standing",
    "surplus_wanted",
]


PLAIN = Wording()


class Failing(NamedTuple):
    """What the filler fails by: `clause` in a sentence, `word` in a table."""

    clause: str
    word: str


FAILS = {
    "limits.wet_fraction": Failing("too little of a side is wet", "dry"),
    "limits.dry_length": Failing("a dry stretch is too long", "dry stretch"),
    "limits.filler_superheat": Failing("it peaks too hot", "too hot"),
    "limits.lap_filled": Failing("too little of the lap fills", "lap open"),
}
"""By the limit that the filler fails, `filler_binding` of a row."""


def standing(row: Row, words: Wording = PLAIN) -> str:
    """Say whether base and filler hold, with the margin and the surplus that each has.

    Parameters
    ----------
    row : of a run
    words : the user's units
    """
    solid, flows = row.get("base_stays_solid") is True, row.get("filler_flows") is True
    parts = []
    if row.get("margin_K") is not None:
        margin, wanted = _number(row, "margin_K"), margin_wanted(row)
        near = "comes too close to melting" if margin > 0.0 else "melts"
        parts.append(
            f"the base {'stays solid' if solid else near} ({_of('margin', margin, wanted, words)})"
        )
    if row.get("surplus_K") is not None:
        surplus, wanted = _number(row, "surplus_K"), surplus_wanted(row)
        told = "flows" if flows else f"fails, as {fails_of(row)}"
        parts.append(f"the filler {told} ({_of('surplus', surplus, wanted, words)})")
    return (" and " if solid == flows else ", but ").join(parts) or "nothing in it can melt"


def fails_of(row: Row) -> str:
    """Say which limit the filler fails most, and by how much where that is not its surplus."""
    binding = str(row.get("filler_binding"))
    beyond = -_number(row, "filler_slack_K")
    if binding == "limits.dry_length":
        return f"a dry stretch of {1e3 * _number(row, 'longest_dry_m'):.1f} mm is too long"
    if binding == "limits.filler_superheat":
        return f"it peaks {told_apart(beyond, 0.0)} K hotter than {binding} allows"
    if binding == "limits.lap_filled":
        return f"it fills {told_apart(beyond, 0.0)} % less of the lap than {binding} asks for"
    return FAILS[binding].clause if binding in FAILS else "it does not hold its limits"


def near_limit(row: Row, detail: str, words: Wording = PLAIN) -> str:
    """Say what of a run is nearer to its limit than its mesh may move it; "" if nothing is."""
    may = MAY_MOVE.get(detail, 0.0)
    names = {"the margin": "base_slack_K", "the filler": "filler_slack_K"}
    near = [
        f"{name} is {words.apart(abs(value), 0.0)} {'over' if value >= 0.0 else 'under'}"
        for name, value in ((name, _number(row, key)) for name, key in names.items())
        if abs(value) < may
    ]
    if not near:
        return ""
    moves = f"the {detail} mesh may move that by {words.apart(may)}"
    return f"{' and '.join(near)} what is wanted, and {moves}"


def laid_share(case: Case) -> float:
    """Share of the ring that a case lays, whole segments of it."""
    count = case.segment_count
    return max(1, round(case.travel.coverage * count)) / count


def part_of_ring(share: float) -> str:
    """Say that only a share of the ring is run; "" where all of it is."""
    if share == 1.0:
        return ""
    return (
        f"Only {100 * share:.0f} % of the ring is run, as travel.coverage is below 1: times and "
        "temperatures are those of this part."
    )


def _number(row: Row, name: str) -> float:
    value = row.get(name)
    return float("nan") if value is None else round(float(value), 6)


def margin_wanted(row: Row) -> float:
    """Margin that the case of a row asks for [K]."""
    return round(_number(row, "margin_K") - _number(row, "base_slack_K"), 6)


def surplus_wanted(row: Row) -> float:
    """Surplus that the case of a row asks for [K]; another limit of the filler may be nearer."""
    return round(_number(row, "tube_side_surplus_K") - _number(row, "tube_side_slack_K"), 6)


def _of(name: str, value: float, wanted: float, words: Wording) -> str:
    return f"{name} {words.apart(value, 0.0, wanted)} where {words.apart(wanted)} are wanted"
