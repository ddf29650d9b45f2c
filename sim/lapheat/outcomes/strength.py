# ruff: noqa: N815 - names carry the unit, as `outcomes.json` has them
"""What lap and fillet carry in shear, beside the load at which the tube yields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import pi, sqrt

from ..case.case import Case

__all__ = ["LAP_RULE", "SAFETY", "StrengthOutcome", "strength_of"]

# 1 / 0.8, the factor of the published lap formula X = T W / (C L) for hand brazing, C = 0.8 (a
# maker's handbook); EN 1993-1-8 has the same 1.25 for fillet welds (gamma_M2, as guides print it).
SAFETY = 1.25
# AWS C3.1 (1963), some 1200 specimens of ten laboratories, as a trade article reports it: beyond 2
# walls the base failed, not the braze; the advice is 3 or more. It holds for a lap that is filled.
LAP_RULE = 3.0


@dataclass(frozen=True)
class StrengthOutcome:
    """Axial pull: what the filler carries, against the tube.

    Attributes
    ----------
    lap_over_wall : depth of the lap over the tube's wall [-]
    filled_over_wall : the filled share of that depth, over the whole ring, over the wall [-]
    lap_N : what the lap carries over the safety factor
    fillet_N : what the fillet carries over the safety factor
    joint_N : sum of both
    tube_yield_N : load at which the tube's wall yields, at the least yield strength of its alloy
    ratio : joint over tube [-]; below 1 the joint may part before the tube yields. A tube stronger
        than the least lowers it
    safety_factor : the one in lap, fillet and joint [-]
    drier_side : side of the fillet whose wet share counts, the smaller one
    missing : why loads are null: an alloy has no strength, or the tube melts
    """

    lap_over_wall: float
    filled_over_wall: float
    lap_N: float | None
    fillet_N: float | None
    joint_N: float | None
    tube_yield_N: float | None
    ratio: float | None
    safety_factor: float
    drier_side: str
    missing: str | None


def strength_of(
    case: Case, lap_filled: float, wet: Mapping[str, float], laid: float, melts: bool = False
) -> StrengthOutcome | None:
    """Strength of the joint when cold; None for a bead-on-tube.

    ``F_lap = tau pi D d f / n`` and ``F_fillet = tau 2 pi (R + z/4) (z / sqrt 2) w / n`` against
    ``F_tube = sigma pi (D - t) t``: shear strength tau of the filler's deposit and yield strength
    sigma of the annealed tube [Pa], outside diameter D = 2 R, wall t, depth d of the lap and leg z
    [m], filled and wet shares f and w of the whole ring [-], safety factor n = 1.25.

    The lap is the published one for tubes, ``X = W (D - W) T / (C L D)``, solved for the load. The
    throat follows the simplified method of EN 1993-1-8, 4.5.3.3: all load counts as shear on the
    throat, whatever its direction. Both share the load, as the filler yields before it parts
    (15 to 40 % elongation is printed of its deposit). The cautious wet share is taken, that of the
    drier side, and tacks of their own count for nothing. Of the tube
    the least yield is taken, which is not cautious. Built-in 304L has 170 MPa; typical heats reach
    270 (from memory), and those lower `ratio`.

    Range: static axial pull, cold, a ductile filler, an annealed tube. Bending, fatigue, the
    flange, undercut, cracks and brittle layers between filler and steel are not in it.

    Parameters
    ----------
    case : with flange, lap and fillet
    lap_filled : share of the lap that filler reached where segments ran [-]
    wet : share of each side that is wet there, by its name [-]
    laid : share of the ring where segments ran [-]
    melts : the tube peaks above its solidus; no load is told then
    """
    joint = case.brazed
    if joint is None or not wet:
        return None
    tube, lap, leg = case.tube, joint.lap, joint.fillet.leg
    side = min(wet, key=lambda name: wet[name])
    filled = laid * lap_filled
    yields, tau = case.alloys[tube.alloy].yield_strength, joint.filler.shear_strength
    lacking = [
        f"no {what} strength is known of {name}"
        for what, name, value in (
            ("yield", tube.alloy, yields),
            ("shear", joint.fillet.filler, tau),
        )
        if value is None
    ]
    if melts:
        yields = tau = None
        lacking = ["the tube melts"]
    of_lap = of_fillet = whole = of_tube = ratio = None
    if yields is not None:
        of_tube = yields * pi * (tube.outside_diameter - tube.wall) * tube.wall
    if tau is not None:
        throat = 2.0 * pi * (tube.radius + 0.25 * leg) * leg / sqrt(2.0)
        of_lap = tau * tube.circumference * lap.depth * filled / SAFETY
        of_fillet = tau * throat * laid * wet[side] / SAFETY
        whole = of_lap + of_fillet
        ratio = None if of_tube is None else whole / of_tube
    return StrengthOutcome(
        lap_over_wall=lap.depth / tube.wall,
        filled_over_wall=lap.depth * filled / tube.wall,
        lap_N=of_lap,
        fillet_N=of_fillet,
        joint_N=whole,
        tube_yield_N=of_tube,
        ratio=ratio,
        safety_factor=SAFETY,
        drier_side=side,
        missing=" and ".join(lacking) or None,
    )
