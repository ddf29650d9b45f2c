"""How far mesh and step move the answer: three meshes, observed order, numerical uncertainty.

The grid convergence index (Roache 1994, J. Fluids Eng. 116, 405; ASME V&V 20-2009, section 2-4;
for ratios that differ, Celik et al. 2008, J. Fluids Eng. 130, 078001), as an absolute number and
not as a share of the value: a temperature in degC has no zero to take shares of.

The coarse mesh is also run with steps half as long. Two steps give no order; the index of two
grids, with the factor of safety 3 and the formal order 2, is 3 / (2^2 - 1) = 1 times their
difference, and that is added. The finer meshes take shorter steps, so it is rather too much.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import inf, isfinite, log
from typing import Any

from ..case.case import Case
from ..joint.lines import DETAILS
from .outcomes import DIGITS, Outcomes

__all__ = ["Convergence", "Estimate", "Grid", "Row", "convergence_of", "grid_convergence"]

# Factors of safety of Roache and ASME V&V 20, from memory: three meshes that show a sane order;
# any others.
SAFE, UNSURE = 1.25, 3.0
# The scheme has order 2 where the answer is smooth, and is not believed below 1. At the toes of a
# fillet, where the hottest faces lie, heat turns a corner of 225 degrees of metal, and temperature
# has the order p of k_base tan(p pi) + k_filler tan(p pi / 4) = 0: 0.63 to 0.70 for bronze on steel
# (for one material Strang and Fix 1973, An Analysis of the Finite Element Method, section 8.1, from
# memory). A tenth to either side is still sane (Oberkampf and Roy 2010, Verification and Validation
# in Scientific Computing, section 8, from memory).
SMOOTH, TOE, FORMAL = 1.0, 0.63, 2.0
AT_TOES = ("tube.margin_K", "flange.margin_K")
STILL = 0.05  # [K]: starts that waited for `travel.resume_below` all come out there
ROUND_OFF = 1e-9  # relative; values closer than this are the same


@dataclass(frozen=True)
class Estimate:
    """A value with its numerical uncertainty.

    Attributes
    ----------
    value : on the fine mesh
    uncertainty : of that value, plus or minus, in its unit
    kind : "converging", "oscillating", "diverging", or "constant" where all three are the same, to
        round-off or to the `still` of `grid_convergence`
    order : observed order; None where the meshes do not converge, or only the coarse one differs
    factor : factor of safety
    extrapolated : value at cell length zero (Richardson); None unless the order is sane
    """

    value: float
    uncertainty: float
    kind: str
    order: float | None = None
    factor: float = UNSURE
    extrapolated: float | None = None


def grid_convergence(
    values: Sequence[float], sizes: Sequence[float], least: float = SMOOTH, still: float = 0.0
) -> Estimate:
    """Estimate the numerical uncertainty of a value from three meshes.

    The observed order p solves (f3 - f2) / (f2 - f1) = (h3^p - h2^p) / (h2^p - h1^p), 1 the fine
    mesh. It is the equation of Celik et al. 2008, solved between brackets because their fixed
    point only settles where h3/h2 < (h2/h1)^2. Then, with p held between `least` and 2,

    - converging: factor x the larger of the errors of f1 that the fine and the coarse pair give,
      |f2 - f1| / ((h2/h1)^p - 1) and |f3 - f2| / ((h3/h2)^p - 1) / (h2/h1)^p (they are the same
      where p was not held). The factor is 1.25 where the observed p is between 0.9 `least` and 2.2,
      else 3. Then the value at cell length 0 is f1 - (f2 - f1) / ((h2/h1)^p - 1) (Richardson, from
      memory), given for a factor of 1.25 only;
    - oscillating (the differences have opposite signs) and diverging (their ratio is not above
      log(h3/h2) / log(h2/h1), that of order 0): 3 x the whole span of the values. That is a
      warning more than an estimate.

    It holds where the error of all three meshes is mostly its leading term. The module's docstring
    has the sources.

    Parameters
    ----------
    values : (3,) f3, f2, f1, from the coarse mesh to the fine, in one unit
    sizes : (3,) h3, h2, h1, cell lengths of those meshes, falling [m]
    least : lowest order to be expected
    still : values that differ by no more are the same, uncertain by 3 x what they do differ

    Raises
    ------
    ValueError
        There are not three finite values, or the sizes do not fall.
    """
    f3, f2, f1 = map(float, values)
    h3, h2, h1 = map(float, sizes)
    if not all(map(isfinite, (f1, f2, f3))) or not h3 > h2 > h1 > 0.0:
        raise ValueError(f"three finite values and falling sizes are needed: {values}, {sizes}")
    coarse, fine = f3 - f2, f2 - f1
    r32, r21 = h3 / h2, h2 / h1
    same = ROUND_OFF * max(abs(f1), abs(f2), abs(f3))
    span = max(values) - min(values)
    if span <= still:
        return Estimate(f1, UNSURE * span, "constant")
    if abs(fine) <= same:
        if abs(coarse) <= same:
            return Estimate(f1, 0.0, "constant")
        order = inf
    elif coarse * fine < 0.0 and abs(coarse) > same:
        return Estimate(f1, UNSURE * span, "oscillating")
    elif coarse / fine <= log(r32) / log(r21):  # the ratio at order zero
        return Estimate(f1, UNSURE * span, "diverging")
    else:
        order = _order(coarse / fine, r32, r21)
    held = min(max(order, least), FORMAL)
    near = abs(fine) / (r21**held - 1.0)
    far = abs(coarse) / (r32**held - 1.0) / r21**held
    sane = 0.9 * least <= order <= 1.1 * FORMAL
    factor = SAFE if sane else UNSURE
    return Estimate(
        value=f1,
        uncertainty=factor * max(near, far),
        kind="converging",
        order=order if isfinite(order) else None,
        factor=factor,
        extrapolated=f1 - fine / (r21**order - 1.0) if sane else None,
    )


def _order(ratio: float, r32: float, r21: float) -> float:
    """Positive order p at which ``r21^p (r32^p - 1) / (r21^p - 1)`` is this ratio.

    `r32` = h3/h2 and `r21` = h2/h1; the same equation as in `grid_convergence`.
    """

    def excess(p: float) -> float:
        return log(r21**p * (r32**p - 1.0) / (r21**p - 1.0) / ratio)

    from scipy.optimize import brentq  # half a second that a plain run need not wait

    return float(brentq(excess, 1e-6, log(ratio + 1.0) / log(r32) + 1.0))


@dataclass(frozen=True)
class Grid:
    """One of the meshes: `size` is its nominal cell length along the joint [m]."""

    detail: str
    size: float
    cells: int
    steps: int


@dataclass(frozen=True)
class Row:
    """One outcome on the three meshes.

    Attributes
    ----------
    outcome : its place in `outcomes.json`, as "segments[0].start_C"
    label, unit : for a person; the unit is "degC", "K" or "" for a share
    values : (3,) from the coarse mesh to the fine
    halved : on the coarse mesh with steps half as long
    estimate : of the fine value, from the three meshes
    """

    outcome: str
    label: str
    unit: str
    values: tuple[float, ...]
    halved: float
    estimate: Estimate

    @property
    def step(self) -> float:
        """Uncertainty that comes from the time step: ``|f_half - f|`` on the coarse mesh.

        It is the index of two steps, ``3 / (2^2 - 1)`` times their difference; see the module.
        """
        return abs(self.halved - self.values[0])

    @property
    def uncertainty(self) -> float:
        """Numerical uncertainty of the fine value: the sum of that of mesh and of step."""
        return self.estimate.uncertainty + self.step


@dataclass(frozen=True)
class Convergence:
    """What `convergence.json` holds."""

    grids: tuple[Grid, ...]
    rows: tuple[Row, ...]

    @property
    def uncertainty(self) -> Mapping[str, float]:
        """Numerical uncertainty by the outcome's name."""
        return {row.outcome: row.uncertainty for row in self.rows}

    def as_dict(self) -> dict[str, Any]:
        """Return plain dicts, lists and numbers for JSON, floats to ten significant digits."""
        details = [grid.detail for grid in self.grids]
        return {
            "meshes": [
                {"detail": g.detail, "size_m": _short(g.size), "cells": g.cells, "steps": g.steps}
                for g in self.grids
            ],
            "outcomes": [
                {
                    "outcome": row.outcome,
                    **dict(zip(details, map(_short, row.values), strict=True)),
                    "kind": row.estimate.kind,
                    "order": _short(row.estimate.order),
                    "factor": row.estimate.factor,
                    "half_steps": _short(row.halved),
                    "mesh_uncertainty": _short(row.estimate.uncertainty),
                    "step_uncertainty": _short(row.step),
                    "uncertainty": _short(row.uncertainty),
                    "extrapolated": _short(row.estimate.extrapolated),
                }
                for row in self.rows
            ],
        }


def _short(value: float | None) -> float | None:
    return None if value is None else float(f"{value:.{DIGITS}g}")


def convergence_of(case: Case, runs: Sequence[Outcomes], halved: Outcomes) -> Convergence:
    """Compare the outcomes of one case on the three meshes, and with shorter steps.

    Parameters
    ----------
    case : any detail of it; gives the spot
    runs : (3,) outcomes at coarse, standard and fine, in this order
    halved : outcomes at coarse with steps half as long

    Raises
    ------
    ValueError
        They are not those three.
    """
    details = [run.mesh.detail for run in runs]
    if details != list(DETAILS):
        raise ValueError(f"runs at {', '.join(DETAILS)} are needed, not {', '.join(details)}")
    # Nominal: segments hold whole cells, so that the true length is a few percent less.
    sizes = [case.arc.spot / DETAILS[detail].per_spot for detail in details]
    grids = [
        Grid(run.mesh.detail, size, run.mesh.cells, run.march.steps)
        for run, size in zip(runs, sizes, strict=True)
    ]
    rows = []
    for told in zip(*map(_told, [*runs, halved]), strict=True):
        outcome, label, unit, _ = told[0]
        values = [value for *_, value in told if value is not None]
        if len(values) == len(told):  # an alloy that cannot melt has no margin
            *meshes, short = values
            toe = outcome in AT_TOES and case.fillet is not None
            still = STILL if unit in ("K", "degC") else 0.0
            estimate = grid_convergence(meshes, sizes, TOE if toe else SMOOTH, still)
            rows.append(Row(outcome, label, unit, tuple(meshes), short, estimate))
    return Convergence(tuple(grids), tuple(rows))


def _told(run: Outcomes) -> Iterator[tuple[str, str, str, float | None]]:
    """Name, label, unit and value of each outcome that is compared."""
    yield "tube.margin_K", "tube margin", "K", run.tube.margin_K
    if run.flange is not None:
        yield "flange.margin_K", "flange margin", "K", run.flange.margin_K
    yield "tube.bore_peak_C", "tube bore peak", "degC", run.tube.bore_peak_C
    if run.filler is not None:
        yield "filler.tube_side_wet", "tube side wet", "", run.filler.tube_side_wet
        yield "filler.flange_side_wet", "flange side wet", "", run.filler.flange_side_wet
        surplus = run.filler.tube_side_surplus_K
        yield "filler.tube_side_surplus_K", "tube side surplus", "K", surplus
        surplus = run.filler.flange_side_surplus_K
        yield "filler.flange_side_surplus_K", "flange side surplus", "K", surplus
        stretch = run.filler.stretch_surplus_K
        known = stretch if isfinite(stretch) else None
        yield "filler.stretch_surplus_K", "stretch surplus", "K", known
        yield "filler.coldest_C", "coldest under filler", "degC", run.filler.coldest_C
    for index, segment in enumerate(run.segments):
        label = f"segment {segment.number} start"
        yield f"segments[{index}].start_C", label, "degC", segment.start_C
    for name, probe in run.probes.items():
        yield f"probes.{name}.peak_C", f"probe {name} peak", "degC", probe.peak_C
