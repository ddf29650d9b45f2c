"""How far the program's march is from `fourier_ring` under a moving arc, as a table.

``python -m reference.arc_errors [DETAIL ...]`` marches the joint at the details named, or at all,
and prints the worst error of every place, where and when, as shares of the highest rise. With
``--every`` it prints each place at each time. With ``--shorter 8`` steps are that many times
shorter than usual, which leaves the errors of the mesh alone. ``--rewrite`` computes the model's
answers anew, in some minutes, and keeps them in ``moving_arc.json``.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np

from lapheat.joint.lines import DETAILS
from reference.arc_ring import PLACES, ArcRing, Array, angles, arc_ring, marched
from reference.fourier_ring import Fineness, FourierRing

__all__ = ["FINEST", "STRIKE", "Errors", "Kept", "errors_of", "kept", "rewrite"]

KEPT = Path(__file__).parent / "moving_arc.json"
FINEST = Fineness(first=4e-6, growth=2.5, largest=1e-3, waves=56, nodes=16)
# [s] after the first strike: of times between, a march may be asked at a time of its own steps
STRIKE = (0.3, 0.4, 0.5, 0.6, 0.7)


def _question(ring: ArcRing) -> dict[str, Any]:
    """What the kept answers belong to: dimensions, properties, arc, places, angles and times."""
    around, arc = ring.case.surroundings, ring.case.arc
    numbers = {
        "section_mm": [ring.outer, ring.inner, ring.top, ring.leg, ring.thick, ring.rim],
        "resistance": ring.resistance,
        "films": [around.convection, around.bore_convection],
        "arc": [arc.power, arc.spot, arc.work_angle, arc.aim],
        "spells": [list(asdict(spell).values()) for spell in ring.spells],
        "angles": angles(ring).tolist(),
        "times": [*STRIKE, *ring.times],
    }
    numbers["section_mm"] = [1e3 * x for x in numbers["section_mm"]]
    for part in ("tube", "flange", "fillet"):
        alloy = ring.alloy(part)
        numbers[part] = [alloy.density, float(alloy.k(300.0)), float(alloy.c(300.0))]
    told = json.loads(json.dumps(numbers), parse_float=lambda text: round(float(text), 9))
    return {"places": [place.name for place in PLACES], **told}


@dataclass(frozen=True)
class Kept:
    """The model's answers: rises (times, places, angles) [K], just after the strike and later."""

    strike: Array
    later: Array

    @property
    def highest(self) -> float:
        """Highest rise of all [K]."""
        return float(self.later.max())

    def struck(self, time: float) -> Array:
        """Rises (places, angles) at a time inside those of `STRIKE` [K]."""
        fit = np.polynomial.Polynomial.fit
        flat = self.strike.reshape(len(STRIKE), -1)
        line = [fit(STRIKE, column, len(STRIKE) - 1)(time) for column in flat.T]
        return np.array(line).reshape(self.strike.shape[1:])


def answers(ring: ArcRing, fine: Fineness) -> Kept:
    """Let the model answer; minutes where it is fine."""
    rises = FourierRing(ring, fine).rises([*STRIKE, *ring.times])
    return Kept(rises[: len(STRIKE)], rises[len(STRIKE) :])


def rewrite(ring: ArcRing) -> None:
    """Compute the kept answers anew, at the finest."""
    made = answers(ring, FINEST)
    record = {
        "question": _question(ring),
        "fineness": asdict(FINEST),
        "strike_K": made.strike.round(3).tolist(),
        "later_K": made.later.round(3).tolist(),
    }
    KEPT.write_text(json.dumps(record) + "\n", encoding="utf-8")


def kept(ring: ArcRing) -> Kept:
    """Read the kept answers, which must be to this very question."""
    record = json.loads(KEPT.read_text(encoding="utf-8"))
    asked = record["question"] == _question(ring)
    assert asked, "the question changed since; run: python -m reference.arc_errors --rewrite"
    return Kept(np.array(record["strike_K"]), np.array(record["later_K"]))


@dataclass(frozen=True)
class Errors:
    """Errors as shares of the highest rise [-], each (places, angles).

    `later` at the `times` [s], `strike` at `strike_time` [s], just after the arc has struck.
    """

    times: Array
    later: Array
    strike_time: float
    strike: Array

    @property
    def worst(self) -> float:
        """Largest of all but just after the strike [-]."""
        return float(np.abs(self.later).max())

    @property
    def rms(self) -> float:
        """Root of the mean square of all but just after the strike [-]."""
        return float(np.sqrt((self.later**2).mean()))


def errors_of(ring: ArcRing, truth: Kept, detail: str, shorter: float = 1.0) -> Errors:
    """March the joint and compare, at the model's times and once just after the strike."""
    time, rises = marched(ring, detail, shorter)
    rows = [int(np.abs(time - wanted).argmin()) for wanted in ring.times]
    np.testing.assert_allclose(time[rows], ring.times, atol=1e-6)
    struck = int(np.abs(time - 0.5).argmin())
    return Errors(
        np.array(ring.times),
        (rises[rows] - truth.later) / truth.highest,
        float(time[struck]),
        (rises[struck] - truth.struck(float(time[struck]))) / truth.highest,
    )


def _peak(errors: Array) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unravel_index(np.abs(errors).argmax(), errors.shape))


def table(ring: ArcRing, detail: str, found: Errors, every: bool = False) -> list[str]:
    """Lines of text: errors in percent of the highest rise, angles in degrees."""
    degrees = np.degrees(angles(ring))
    lines = [
        f"{detail}: worst {100.0 * found.worst:.2f} %, rms {100.0 * found.rms:.3f} %",
        f"{'place':22} {'worst %':>8} {'time s':>7} {'angle':>6} {'rms %':>7} {'struck %':>9}",
    ]
    for p, place in enumerate(PLACES):
        mine = 100.0 * found.later[:, p]
        i, k = _peak(mine)
        strike = 100.0 * found.strike[p].flat[_peak(found.strike[p])[0]]
        lines.append(
            f"{place.name:22} {mine[i, k]:8.3f} {found.times[i]:7.2f} {degrees[k]:6.0f} "
            f"{np.sqrt((mine**2).mean()):7.3f} {strike:9.3f}"
        )
        if every:
            for i, row in enumerate(mine):
                cells = " ".join(f"{value:7.3f}" for value in row)
                lines.append(f"    {found.times[i]:7.2f} s  {cells}")
    for i, time in enumerate(found.times):
        mine = 100.0 * found.later[i]
        p, _ = _peak(mine)
        rms = np.sqrt((mine**2).mean())
        lines.append(
            f"{time:7.2f} s  worst {mine.flat[np.abs(mine).argmax()]:7.3f} % "
            f"({PLACES[p].name}), rms {rms:.3f} %"
        )
    strike = 100.0 * found.strike
    p, _ = _peak(strike)
    lines.append(
        f"{found.strike_time:7.2f} s  worst {strike.flat[np.abs(strike).argmax()]:7.3f} % "
        f"({PLACES[p].name}), just after the strike"
    )
    return lines


def main(argv: Sequence[str] | None = None) -> None:
    """Print tables of errors, or rewrite the kept answers."""
    parser = ArgumentParser(description="The program's march against the model, moving arc.")
    parser.add_argument("details", nargs="*", metavar="DETAIL", help=", ".join(DETAILS))
    parser.add_argument("--every", action="store_true", help="each place at each time and angle")
    parser.add_argument("--shorter", type=float, default=1.0, help="steps shorter than usual")
    parser.add_argument("--rewrite", action="store_true", help="compute the kept answers anew")
    told = parser.parse_args(argv)
    ring = arc_ring()
    if told.rewrite:
        rewrite(ring)
    truth = kept(ring)
    for detail in told.details or DETAILS:
        found = errors_of(ring, truth, detail, told.shorter)
        print("\n".join(table(ring, detail, found, told.every)), end="\n\n")


if __name__ == "__main__":
    main()
