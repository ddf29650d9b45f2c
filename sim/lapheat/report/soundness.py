"""Soundness for a person: what was found, what is sound, and where that limit comes from."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from ..case.alloys.sensitisation import SPREAD
from ..case.case import Brazed, Case
from ..constants import ZERO_CELSIUS
from ..outcomes.outcomes import FillerOutcome, Outcomes
from ..outcomes.soundness import TINT, SoundnessOutcome
from ..outcomes.verdict import BRIEF
from ..outcomes.wording import Wording

__all__ = ["COLD_WORK", "Sound", "soundness_rows"]

COLD_WORK = "Is the tube bent, swaged, cold-drawn or clamped? Liquid copper may crack it then"


@dataclass(frozen=True)
class Sound:
    """One thing that heat can do to base and joint.

    Attributes
    ----------
    name : of it
    found : in this run, short enough to be read at once
    sound : what is sound, as short
    more : found besides
    why : where the limit comes from
    """

    name: str
    found: str
    sound: str
    more: tuple[str, ...] = ()
    why: tuple[str, ...] = ()


def soundness_rows(case: Case, outcomes: Outcomes, words: Wording) -> Iterator[Sound]:
    """One record for each thing that heat can do to base and joint.

    Parameters
    ----------
    case, outcomes : the run
    words : the user's units
    """
    sound, filler = outcomes.soundness, outcomes.filler
    carbon = case.alloys[case.tube.alloy].carbon
    if sound.sensitised_fraction is not None and carbon is not None:
        yield _sensitised(sound, carbon, words, case.brazed is not None)
    if case.brazed is not None and sound.liquid_copper_s is not None:
        yield _copper(case.brazed, sound, words)
    some = sound.bore_tint_m > 0.0
    yield Sound(
        "heat tint",
        f"{words.long(sound.bore_tint_m) if some else 'none'} of the bore above {words.hot(TINT)}",
        "purge that length" if some else "no purge asked for by that",
        (
            f"outside {words.long(sound.tint_width_m)} from the "
            f"{'toe' if case.brazed else 'arc line'}",
        ),
        ("400 degC: common practice, no source",),
    )
    if sound.flange_t85_s is not None or sound.flange_above_a1_s is not None:
        yield _flange(sound)
    if filler is not None:
        yield _puddle(filler, case.limits.filler_superheat, words)


def _sensitised(sound: SoundnessOutcome, carbon: float, words: Wording, brazed: bool) -> Sound:
    """Share of the time to sensitise, and what cold work or more carbon would make of it."""
    own, cold, as_304 = (
        f"{100.0 * (value or 0.0):.2g} %"
        for value in (
            sound.sensitised_fraction,
            sound.sensitised_fraction_cold_worked,
            sound.sensitised_fraction_as_304,
        )
    )
    height = sound.sensitised_height_m or 0.0
    return Sound(
        "sensitised",
        f"{own} of the time it takes at {carbon:g} % carbon",
        f"no pass or fail: from memory, within a factor of {SPREAD:.0f}",
        (
            f"most on the {sound.sensitised_surface}, {words.long(abs(height))} "
            f"{'below' if height < 0.0 else 'above'} the {'flange face' if brazed else 'arc line'}",
            f"{cold} if worked cold by 20 %",
            f"{as_304} if it were 304 with 0.07 % carbon",
        ),
        ("curves from memory: never a pass or fail",),
    )


def _copper(brazed: Brazed, sound: SoundnessOutcome, words: Wording) -> Sound:
    times = {"tube": sound.tube_liquid_copper_s, "flange": sound.flange_liquid_copper_s}
    told = [f"{time:.2g} s on the {part}" for part, time in times.items() if time is not None]
    return Sound(
        "liquid copper",
        ", ".join(told),
        "no published limit; stress and cold work drive cracks",
        (f"under filler above {words.hot(brazed.filler.solidus or ZERO_CELSIUS)} and A3",),
        (
            f"{COLD_WORK} (Savage, Nippes and Mushala 1978; ASTM STP 1607)",
            "seconds shown: compare your own trials",
        ),
    )


def _flange(sound: SoundnessOutcome) -> Sound:
    found: list[str] = []
    more: list[str] = []
    why = ["seconds shown: compare your own trials"]
    if sound.flange_t85_s is not None and sound.flange_t85_shortest_s is not None:
        found.append(
            f"800 to 500 degC in {sound.flange_t85_s:.2g} s in the median, "
            f"{sound.flange_t85_shortest_s:.2g} s at the fastest"
        )
    if sound.flange_above_a1_s is not None:
        (more if found else found).append(f"above A1 for {sound.flange_above_a1_s:.2g} s")
    if sound.flange_t85_en_s is not None:
        more.append(f"EN 1011-2 has {sound.flange_t85_en_s:.2g} s at this heat input")
        why.append("the standard's is for a long straight seam on a wide plate")
    return Sound("flange cooling", "; ".join(found), "no published limit", tuple(more), tuple(why))


def _puddle(filler: FillerOutcome, most: float | None, words: Wording) -> Sound:
    peak = "none" if filler.peak_C is None else words.hot(filler.peak_C + ZERO_CELSIUS)
    found = f"peaks at {peak}"
    if filler.superheat_K is not None:
        found += f", {words.apart(filler.superheat_K)} above its liquidus"
    limit = "no published limit" if most is None else f"at most {words.apart(most)} above"
    if filler.shortest_liquid_s is None or filler.median_liquid_s is None:
        return Sound("puddle", found, limit)
    more = (
        f"wet spots liquid for {filler.shortest_liquid_s:.2g} s at the shortest",
        f"{filler.median_liquid_s:.2g} s in the median",
    )
    return Sound("puddle", found, limit, more, (f"liquid for over {BRIEF:g} s: estimate",))
