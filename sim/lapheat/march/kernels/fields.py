"""What the compiled step works on, as named tuples of plain arrays.

A function takes the arrays it needs out of its tuples before it loops over rows: numba counts an
array in and out, by atomic operations, each time it is taken off a tuple. Tuples of numbers alone
cost nothing.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Face",
    "Fields",
    "Gap",
    "Given",
    "Nodes",
    "Seen",
    "Sides",
    "Stage",
    "Times",
    "Wall",
    "Watch",
    "Weights",
    "Work",
]

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Fields(NamedTuple):
    """The enthalpy and what follows from it; a step replaces them."""

    h: Array  # (nc, layers) specific enthalpy [J/kg]
    phi: Array  # (nc, 1 + layers + 1) conductivity integral [W/m], with neighbours at both ends
    slope: Array  # (nc, layers) its rise with enthalpy [kg/(m s)]
    skin: Array  # (4, skins, layers) temperature [K], resistivity [m K/W], their rises with h
    peak: Array  # (nc, layers) highest enthalpy so far [J/kg]


class Given(NamedTuple):
    """What is held during a step; the arc's flux runs in a straight line."""

    alive: Array  # (fillet cells, layers) 1 where filler has been laid, else 0
    rod: Array  # (fillet cells, layers) heat that goes into the filler with the rod [W]
    contact: Array  # (lap rows, layers) resistance across the lap [m2 K/W]
    heat_from: Array  # (lit, layers) arc flux into faces as the step begins [W/m2]
    heat_to: Array  # (lit, layers) and as it ends
    air: Array  # (w,) temperature beyond each wall [K]
    extra: Array  # (nc, layers) heat put into cells [W], or of no rows


class Seen(NamedTuple):
    """What is read off the surfaces after a step; `best` is of it, the rest of the whole run."""

    surface: Array  # (w + 2 nlap, layers) walls (the face to filler where covered), lap sides [K]
    peak: Array  # (w + 2 nlap, layers) the highest so far [K]
    wet_peak: Array  # (w, layers) of base faces since filler lay on them, nan before [K]
    liquid: Array  # (w, layers) time they have spent under filler at its liquidus or above [s]
    best: Array  # (2, 3) hottest tube and flange surface now: value [K], row, layer


class Times(NamedTuple):
    """How long faces have been how hot; rows are those of `Seen.surface`."""

    used: Array  # (curves, rows, layers) share used of the time to sensitise [-]
    copper: Array  # (rows, layers) time with liquid copper on hot steel [s]
    above: Array  # (rows, layers) time of the flange above A1 [s]
    falling: Array  # (rows, layers) time since 800 degC [s], or `FERRITE`, `AUSTENITE`
    cooling: Array  # (rows, layers) its last time from 800 to 500 degC, nan before [s]


class Gap(NamedTuple):
    """What the lap conducts by, as hot as it is."""

    root: int  # row of `alive` of the fillet cell at the mouth of the lap
    width: float  # [m]
    emissivity: float  # effective between its two sides [-]
    filler_k: float  # conductivity of filler that bridges it [W/(m K)]
    flow: float  # from which filler enters [K]
    gas_t: Array  # (n,) [K]
    gas_k: Array  # (n,) conductivity of the gas [W/(m K)], level beyond the ends


class Watch(NamedTuple):
    """Cells that move so far in a step that their tables are looked up at every stage."""

    still: Array  # (alloys,) enthalpy by which a cell may move before it is looked up [J/kg]
    hot: Flags  # (nc, layers) cells that are looked up
    moving: Flags  # (nc, layers) cells that moved further than `still`
    runs: Ints  # (nc, n, 2) the hot ones as (first, end) in each row, ended by (0, 0)
    counts: Ints  # (nc,) cells of each row that moved


class Work(NamedTuple):
    """Work space of a step, of which only `heat_out` is read after it."""

    cuts: Ints  # (threads + 1,) first row of each thread's share
    scratch: Array  # (threads, 2, layers)
    quiet: Flags  # (nc,) rows marched by `phi_rise` alone
    rate: Array  # (nc, layers) rise of the whole step at its first rate [J/kg]
    h_rise: Array  # (2, nc, layers) rise of enthalpy at the last two stages [J/kg]
    phi_rise: Array  # (2, nc, layers + 2) rise of the conductivity integral [W/m]
    skin_now: Array  # (2, 2, skins, layers) temperature [K] and resistivity [m K/W]
    link_flow: Array  # (links, layers) across parts as the step begins [W]
    loss: Array  # (w, layers) of walls as it begins [W]
    loss_slope: Array  # (w, layers) its rise with enthalpy [kg/s], in quiet rows with phi [m]
    arc_gain: Array  # (3, lit, layers) gain as it begins, its rise, the loss's rise [W]
    wall_loss: Array  # (2, w) of all layers, now and as the step begins [W]
    heat_out: Array  # (2, w) heat lost up to this stage and up to the one before [J]


class Stage(NamedTuple):
    """One stage of a step: `number` from 1, its weights (see `StepWeights`), the step's length."""

    number: int
    mu: float
    nu: float
    mu_tilde: float
    gamma_tilde: float
    time_share: float  # of the step that is over as the stage begins
    dt: float  # [s]


class Weights(NamedTuple):
    """What a row's next rise is made of: rises, heat, and the rise of a step at its first rate."""

    mu: float  # of the rise one stage ago
    nu: float  # of the rise two stages ago
    per_heat: float  # of the heat it has come to gain since the step began [s/kg]
    at_start: float  # of the rise of the whole step at its first rate, `Work.rate`


class Sides(NamedTuple):
    """Rows beside a row in its part (itself where there are fewer), area over distance [m]."""

    a: int
    b: int
    c: int
    d: int
    to_a: float
    to_b: float
    to_c: float
    to_d: float
    along: float  # from layer to layer


class Face(NamedTuple):
    """A face between two parts: skin rows, area [m2], distances from cell to face [m]."""

    own: int
    other: int
    area: float
    near: float
    far: float


class Wall(NamedTuple):
    """A wall: area [m2], distance to its cell [m], what it loses by."""

    area: float
    near: float
    film: float  # [W/(m2 K)]
    eps: float  # emissivity times Stefan and Boltzmann's constant [W/(m2 K4)]
    air: float  # [K]


class Nodes(NamedTuple):
    """Nodes of an alloy's tables: its row, the first enthalpy [J/kg], nodes per J/kg."""

    alloy: int
    low: float
    per_step: float
