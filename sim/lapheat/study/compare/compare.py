"""What differs between runs, by how much, and which is better.

Better is what works; of several that work, what keeps the most from its nearest limit, as a real
bench strays; of those that keep as much within 5 K or their numerical uncertainty, the quickest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from math import inf
from typing import Any

from ...case.file.every_key import idle_keys, settings_of
from ...joint.schedule import spelled_order
from ...outcomes.wording import Wording, listed, told_apart
from ..runs.slacks import LABELS, Slack, slacks_of
from .entries import Entry, Value, named_apart

__all__ = ["EQUAL", "Comparison", "Difference", "compare_runs", "deciding_of"]

ONLY_MESHES = "None is better: their settings are the same but for the mesh"
APART = "; their verdicts differ, so trust that of the finest"
EQUAL = 5.0  # [K] of slack that makes no difference to a bench, as for orders of segments


@dataclass(frozen=True)
class Difference:
    """One setting or one outcome of every run, the first run's first.

    Attributes
    ----------
    kind : "setting" of the case or "outcome" of the run
    name : key of the case file, or place in `outcomes.json` with its unit as suffix
    values : (n,) one a run, None where a run has none; settings as text with units
    changes : (n,) value less that of the first run; None where that is no number
    uncertainties : (n,) numerical uncertainty of the change, plus or minus: the sum of both
        runs', which holds however their errors go together; None where not both were converged
    """

    kind: str
    name: str
    values: tuple[Value, ...]
    changes: tuple[float | None, ...]
    uncertainties: tuple[float | None, ...]

    @property
    def differs(self) -> bool:
        """Whether the runs do not all have the same."""
        return any(value != self.values[0] for value in self.values[1:])


@dataclass(frozen=True)
class Comparison:
    """What `compare.json` holds.

    Attributes
    ----------
    entries : the runs as given
    settings : keys in which the cases differ
    outcomes : every outcome of any run
    pick : the better run, None if none works or two are as good
    why : in one sentence
    notes : what to bear in mind, a sentence each
    """

    entries: tuple[Entry, ...]
    settings: tuple[Difference, ...]
    outcomes: tuple[Difference, ...]
    pick: Entry | None
    why: str
    notes: tuple[str, ...]

    def outcome(self, name: str) -> Difference | None:
        """Outcome of that name, if any run has it."""
        return next((row for row in self.outcomes if row.name == name), None)


def compare_runs(runs: Sequence[Entry]) -> Comparison:
    """Compare runs with the first.

    Parameters
    ----------
    runs : two or more

    Raises
    ------
    ValueError
        There are fewer.
    """
    if len(runs) < 2:
        raise ValueError(f"two runs or more can be compared, not {len(runs)}")
    entries = named_apart(runs)
    settings = tuple(_settings(entries))
    meshes = [row.name for row in settings] == ["numerics.detail"]
    pick, why = (None, ONLY_MESHES) if meshes else _better(entries)
    if meshes and len({entry.works for entry in entries}) > 1:
        why += APART
    return Comparison(
        entries=entries,
        settings=settings,
        outcomes=tuple(_outcomes(entries)),
        pick=pick,
        why=why,
        notes=tuple(_notes(entries, meshes)),
    )


def _keys(rows: Sequence[dict[str, Any]]) -> list[str]:
    """Every key of any row, in the order of the rows."""
    return list(dict.fromkeys(key for row in rows for key in row))


def _settings(entries: Sequence[Entry]) -> Iterator[Difference]:
    rows = [
        {row.key: row.si for row in settings_of(e.case) if row.key not in idle_keys(e.case)}
        for e in entries
    ]
    empty = (None,) * len(entries)
    for key in _keys(rows):
        given = [row.get(key) for row in rows]
        if key != "title" and any(value != given[0] for value in given):
            # as the user wrote it, though "1 in" and "25.4 mm" are the same
            texts = (
                None if value is None else entry.case.written.get(key, value)
                for entry, value in zip(entries, given, strict=True)
            )
            if key == "travel.order":
                texts = (spelled_order(entry.case) for entry in entries)
            yield Difference("setting", key, tuple(texts), empty, empty)
    for name in _keys([dict(entry.case.alloys) for entry in entries]):
        alloys = [entry.case.alloys.get(name) for entry in entries]
        kinds = [alloy for i, alloy in enumerate(alloys) if alloy not in alloys[:i]]
        values = tuple(
            None if alloy is None else f"definition {kinds.index(alloy) + 1}" for alloy in alloys
        )
        if len({value for value in values if value}) > 1:  # else its use tells enough
            yield Difference("setting", f"alloys.{name}", values, empty, empty)


def _outcomes(entries: Sequence[Entry]) -> Iterator[Difference]:
    rows = [entry.outcomes() for entry in entries]
    unsure = [entry.uncertainty for entry in entries]
    for name in _keys(rows):
        values = tuple(row.get(name) for row in rows)
        doubts = [None if known is None else known.get(name) for known in unsure]
        yield Difference(
            "outcome",
            name,
            values,
            tuple(_less(value, values[0]) for value in values),
            tuple(_sum(doubt, doubts[0]) for doubt in doubts),
        )


def _less(value: Value, first: Value) -> float | None:
    if isinstance(value, bool) or isinstance(first, bool):
        return None
    if isinstance(value, float | int) and isinstance(first, float | int):
        return float(value) - float(first)
    return None


def _sum(one: float | None, other: float | None) -> float | None:
    return None if one is None or other is None else one + other


def _outcome(entry: Entry, outcome: str) -> float | None:
    """Value of an outcome; one that a bead does not have is in no table of its results."""
    table, _, name = outcome.partition(".")
    found: float | None = entry.told.get(table, {}).get(name)
    return found


def _least(entry: Entry) -> Slack | None:
    """Slack that is least."""
    found = slacks_of(partial(_outcome, entry), entry.case.limits)
    return min((slack for slack in found if slack.binds), key=lambda s: s.kelvin, default=None)


def deciding_of(entry: Entry) -> str | None:
    """What is nearest to its limit, and how much it is: "flange margin 102 K"."""
    slack = _least(entry)
    if slack is None:
        return None
    value = _outcome(entry, slack.outcome)
    assert value is not None  # it has a slack
    words = Wording.of(entry.case)
    share = slack.limit == "limits.lap_filled"
    size = words.share(value, slack.wanted) if share else words.apart(value, slack.wanted)
    return f"{LABELS[slack.outcome]} {size}"


def _better(entries: Sequence[Entry]) -> tuple[Entry | None, str]:
    """The better run, if there is one, and why."""
    words = Wording.of(entries[0].case)
    working = [entry for entry in entries if entry.works]
    least = {entry.name: slack for entry in entries if (slack := _least(entry)) is not None}
    if not working:
        if not least:
            return None, "None works"
        near = max(least, key=lambda name: least[name].kelvin)
        return None, f"None works; the nearest is {near}: {_told(least[near], words)}"
    safest = max(working, key=lambda entry: _spare(entry, least))
    equal = [entry for entry in working if _equal(entry, safest, least)]
    pick = min(equal, key=_time)  # the first of several
    others = [entry.name for entry in entries if entry is not pick]
    if len(working) == 1:
        return pick, f"{pick.name} is better: it alone works; {_told_of(pick, least, words)}"
    works = f"{'both' if len(entries) == 2 else len(working)} work"
    if len(equal) > 1:
        rest = [entry for entry in equal if entry is not pick]
        sooner = min(map(_time, rest)) - _time(pick)
        names = listed([entry.name for entry in equal])
        safe = f"{names} are as far from their limits, within {words.apart(_doubt(equal, least))}"
        if sooner <= 0.0:
            return None, f"None is better: {works}, {safe}, and take as long"
        return pick, f"{pick.name} is better: {works}, {safe}, and it is {sooner:.0f} s quicker"
    second = max((e for e in working if e is not pick), key=lambda e: _spare(e, least))
    later = _time(pick) - _time(second)
    pace = f"{abs(later):.0f} s {'longer' if later > 0.0 else 'less'}"
    if pick.name not in least:
        return pick, f"{pick.name} is better: {works}, and nothing in it can melt; it takes {pace}"
    against = others[0] if len(others) == 1 else second.name
    more = words.apart(_spare(pick, least) - _spare(second, least), 0.0)
    return pick, (
        f"{pick.name} is better: {works}, and it keeps {more} more than {against} from its "
        f"nearest limit ({_told(least[pick.name], words)}); it takes {pace}"
    )


def _spare(entry: Entry, least: dict[str, Slack]) -> float:
    """Least slack of a run [K]; inf if nothing in it can fail."""
    return least[entry.name].kelvin if entry.name in least else inf


def _time(entry: Entry) -> float:
    return float(entry.told["time"]["total_s"])


def _equal(one: Entry, other: Entry, least: dict[str, Slack]) -> bool:
    a, b = _spare(one, least), _spare(other, least)
    return a == b or abs(a - b) <= _doubt([one, other], least)


def _doubt(entries: Sequence[Entry], least: dict[str, Slack]) -> float:
    """How far slacks may differ and still be equal [K]."""
    known = [
        (entry.uncertainty or {}).get(least[entry.name].outcome, 0.0)
        for entry in entries
        if entry.name in least
    ]
    return max(EQUAL, sum(known))


def _told(slack: Slack, words: Wording) -> str:
    label, size, limit = LABELS[slack.outcome], abs(slack.kelvin), slack.limit
    share = limit == "limits.lap_filled"
    told = f"{told_apart(size, 0.0)} points" if share else words.apart(size, 0.0)
    if slack.outcome.endswith("surplus_K"):  # its limit is a share or a length
        limit = f"the {words.apart(slack.wanted)} wanted for {limit}"
    if slack.kelvin < 0.0:
        return f"{label} misses {limit} by {told}"
    return f"{label} has {told} to spare from {limit}"


def _told_of(entry: Entry, least: dict[str, Slack], words: Wording) -> str:
    slack = least.get(entry.name)
    return "nothing in it can melt" if slack is None else f"its {_told(slack, words)}"


def _notes(entries: Sequence[Entry], meshes: bool) -> Iterator[str]:
    unsure = [entry.name for entry in entries if entry.uncertainty is None]
    if unsure:
        yield (
            f"No numerical uncertainty: {listed(unsure)} {'was' if len(unsure) == 1 else 'were'} "
            "not converged (`lapheat run --converge`, or `lapheat compare --converge`)."
        )
    versions = [dict(entry.told.get("versions", {})).get("lapheat") for entry in entries]
    marches = {entry.told.get("march", {}).get("name") for entry in entries}
    alone = meshes and len(set(versions)) == len(marches) == 1
    for what, place in (("meshes", ("mesh", "detail")), ("marches", ("march", "name"))):
        kinds = [entry.told.get(place[0], {}).get(place[1]) for entry in entries]
        if len(set(kinds)) > 1:
            yield (
                f"The runs have different {what} ({listed([str(kind) for kind in kinds])}): "
                f"{'' if alone else 'part of '}each difference comes from that."
            )
    if len(set(versions)) > 1:
        yield f"The runs are of different versions: {listed([str(v) for v in versions])}."
    if len({entry.case.travel.coverage for entry in entries}) > 1:
        yield "The runs lay different shares of the ring: times and peaks are those of each share."
