"""Soundness on a terminal: what was found, what is sound, and where that limit comes from."""

from __future__ import annotations

from collections.abc import Iterator

from rich.table import Table

from ..case.alloys.sensitisation import SPREAD
from ..case.case import Brazed, Case
from ..constants import ZERO_CELSIUS
from ..outcomes.outcomes import FillerOutcome, Outcomes
from ..outcomes.soundness import TINT, SoundnessOutcome
from ..outcomes.verdict import BRIEF
from ..outcomes.wording import Wording

__all__ = ["soundness_table"]

NO_LIMIT = "no published limit: seconds shown, compare your own trials"


def soundness_table(case: Case, outcomes: Outcomes, words: Wording) -> Table:
    """One row for each thing that heat can do to base and joint."""
    table = Table(box=None, pad_edge=False, padding=(0, 3, 0, 0), header_style="dim")
    for heading, ratio in (("soundness", 0), ("found", 3), ("sound is", 3)):
        table.add_column(heading, ratio=ratio or None, overflow="fold")
    for row in _rows(case, outcomes, words):
        table.add_row(*row)
    return table


def _rows(case: Case, outcomes: Outcomes, words: Wording) -> Iterator[tuple[str, str, str]]:
    sound, filler = outcomes.soundness, outcomes.filler
    carbon = case.alloys[case.tube.alloy].carbon
    if sound.sensitised_fraction is not None and carbon is not None:
        yield (
            "sensitised",
            _sensitised(sound, carbon, words, case.brazed is not None),
            (
                f"under 100 %, by curves from memory, right within a factor of {SPREAD:.0f}: "
                "never a pass or fail"
            ),
        )
    if case.brazed is not None and sound.liquid_copper_s is not None:
        yield (
            "liquid copper",
            _copper(case.brazed, sound, words),
            (
                f"{NO_LIMIT}. Is the tube bent, swaged, cold-drawn or clamped? Stress and cold "
                "work drive cracks (Savage, Nippes and Mushala 1978; ASTM STP 1607)"
            ),
        )
    yield (
        "heat tint",
        (
            f"above {words.hot(TINT)}: {words.long(sound.bore_tint_m)} of the bore, outside "
            f"{words.long(sound.tint_width_m)} from the {'toe' if case.brazed else 'arc line'}"
        ),
        "none: purge that length of the bore (400 degC: common practice, no source)",
    )
    if sound.flange_t85_s is not None or sound.flange_above_a1_s is not None:
        yield (
            "flange",
            _flange(sound),
            (f"{NO_LIMIT}; the standard's is for a long straight seam on a wide plate"),
        )
    if filler is not None:
        most = case.limits.filler_superheat
        limit = "no published limit" if most is None else f"at most {most:.0f} K above its liquidus"
        yield (
            "puddle",
            _puddle(filler, words),
            f"{limit}; wet spots liquid for over {BRIEF:g} s (estimate)",
        )


def _sensitised(sound: SoundnessOutcome, carbon: float, words: Wording, brazed: bool) -> str:
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
    where = (
        f"{sound.sensitised_surface}, {words.long(abs(height))} "
        f"{'below' if height < 0.0 else 'above'} the {'flange face' if brazed else 'arc line'}"
    )
    return (
        f"{own} of the time to sensitise at {carbon:g} % carbon ({where}); {cold} if worked cold "
        f"by 20 %; {as_304} if it were 304 with 0.07 % carbon"
    )


def _copper(brazed: Brazed, sound: SoundnessOutcome, words: Wording) -> str:
    solidus = brazed.filler.solidus or ZERO_CELSIUS
    times = {"tube": sound.tube_liquid_copper_s, "flange": sound.flange_liquid_copper_s}
    told = [f"{time:.2g} s on the {part}" for part, time in times.items() if time is not None]
    return f"{', '.join(told)}, under filler above {words.hot(solidus)} and A3"


def _flange(sound: SoundnessOutcome) -> str:
    told = []
    if sound.flange_t85_s is not None and sound.flange_t85_shortest_s is not None:
        told.append(
            f"from 800 to 500 degC in {sound.flange_t85_s:.2g} s in the median, "
            f"{sound.flange_t85_shortest_s:.2g} s at the fastest"
        )
    if sound.flange_t85_en_s is not None:
        told.append(f"EN 1011-2 has {sound.flange_t85_en_s:.2g} s at this heat input")
    if sound.flange_above_a1_s is not None:
        told.append(f"above A1 for {sound.flange_above_a1_s:.2g} s")
    return "; ".join(told)


def _puddle(filler: FillerOutcome, words: Wording) -> str:
    peak = "none" if filler.peak_C is None else words.hot(filler.peak_C + ZERO_CELSIUS)
    told = f"peaks at {peak}"
    if filler.superheat_K is not None:
        told += f", {filler.superheat_K:.0f} K above its liquidus"
    if filler.shortest_liquid_s is None or filler.median_liquid_s is None:
        return told
    return (
        f"{told}; wet spots liquid for {filler.shortest_liquid_s:.2g} s at the shortest, "
        f"median {filler.median_liquid_s:.2g} s"
    )
