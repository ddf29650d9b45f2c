"""The arc, as a hand knows it: what its length and current say of volts, efficiency and spot.

No source gives all three for the arcs of this job. Each number says whether it was read,
remembered or estimated.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from .units import rounded

__all__ = [
    "EFFICIENCY_BAND",
    "SHORT",
    "SHORT_VOLTS_BAND",
    "SPOT_BAND",
    "VOLTAGE_BAND",
    "Arc",
    "Pedal",
    "conventional_voltage",
    "efficiency_of_length",
    "spot_of_length",
    "voltage_of_length",
]

MM = 1e-3  # [m]

# Volts of a short arc, read: a line through 7.5, 8.0 and 8.5 V at 38, 50 and 70 A on 1.5 mm 304
# plate (Kraus 1987, Weld. J. 66, 353-s).
SHORT_VOLTS, VOLTS_PER_AMPERE = 6.39, 0.0306
# [V/m] from memory, 0.5 to 1.1 V/mm; and [m] the length of those short arcs, estimated.
VOLTS_PER_LENGTH, SHORT = 0.8 / MM, 1.5 * MM
VOLTAGE_BAND = 0.3 / MM  # [V/m] beyond a short arc
SHORT_VOLTS_BAND = 0.5  # [V] of a short arc, estimated
# Efficiency falls with length (read: Stenbacka 2013, Soldagem & Inspecao 18, 380). By how much is
# estimated: 0.78, 0.75 and 0.72 at 2, 3 and 4 mm. The middle and the band are read: 95 % of the
# published values lie from 0.73 to 0.82 (Stenbacka, Choquet and Hurtig 2012, IIW XII-2070-12).
EFFICIENCY_AT_0, EFFICIENCY_PER_LENGTH = 0.84, 0.03 / MM
EFFICIENCY_BAND = 0.06  # [-] of the value
# [m] Estimated between remembered ends of Tsai and Eagar (1985), Metall. Trans. B 16, 841: 1.5 to
# 3.6 mm for arcs of 2 to 9 mm at 100 to 280 A, growing mainly with length.
SPOT, SPOT_LENGTH, SPOT_CURRENT = 1.6 * MM, 2.5 * MM, 100.0
SPOT_BAND = 0.25  # [-] of the value


def conventional_voltage(current: float) -> float:
    """Load voltage of TIG by convention [V], of a current [A].

    ``10 V + 0.04 V/A x current`` up to 600 A, then 34 V: IEC 60974-1, clause 11.2 (clause number
    from memory). It is the load a power source is rated at and reads above a real argon arc.
    """
    return rounded(min(10.0 + 0.04 * current, 34.0))


def voltage_of_length(length: float, current: float) -> float:
    """Volts of a TIG arc in argon [V].

    ``U = 6.39 V + 0.0306 V/A x I + 0.8 V/mm x max(0, L - 1.5 mm)``, for 30 to 150 A. The first two
    terms are a line through readings at 38 to 70 A (Kraus 1987, Weld. J. 66, 353-s). The slope with
    length holds within 0.3 V/mm (from memory).

    Parameters
    ----------
    length : L, from the tip of the tungsten to the work [m]
    current : I [A]
    """
    longer = max(0.0, length - SHORT)
    return SHORT_VOLTS + VOLTS_PER_AMPERE * current + VOLTS_PER_LENGTH * longer


def efficiency_of_length(length: float) -> float:
    """Share of volts x amps that enters the work [-].

    ``eta = 0.84 - 0.03 L/mm``: 0.765 at 2.5 mm, within 6 %. That it falls with L is read
    (Stenbacka 2013, Soldagem & Inspecao 18, 380); by how much is estimated.

    Parameters
    ----------
    length : L, from the tip of the tungsten to the work, 0.5 to 8 mm [m]
    """
    return EFFICIENCY_AT_0 - EFFICIENCY_PER_LENGTH * length


def spot_of_length(length: float, current: float) -> float:
    """Standard deviation of the heat flux across the arc's axis [m].

    ``s = 1.6 mm (L / 2.5 mm)^0.4 (I / 100 A)^0.25``, within 25 %. Estimated between remembered
    ends of Tsai and Eagar (1985), Metall. Trans. B 16, 841: 2 to 9 mm, 100 to 280 A.

    Parameters
    ----------
    length : L, from the tip of the tungsten to the work, 0.5 to 8 mm [m]
    current : I [A]
    """
    wider: float = (length / SPOT_LENGTH) ** 0.4 * (current / SPOT_CURRENT) ** 0.25
    return SPOT * wider


class Pedal(NamedTuple):
    """What a pedal follows: `hold` [K] of the hottest base, its `range` [A] and `lag` [s]."""

    hold: float
    range: tuple[float, float]
    lag: float


@dataclass(frozen=True)
class Arc:
    """Arc: `current` [A], `voltage` [V], `efficiency`, `spot` and `aim` [m], `work_angle` [rad].

    `length` [m] is the gap from tungsten to work where it was given; `derived` names what of
    voltage, efficiency and spot follows from it. An unmeasured voltage without a length is the
    conventional one.

    With `control` "pedal" the current follows, `pedal_lag` [s] behind and inside `current_range`
    [A], what keeps the hottest base under the arc at `hold` [K]; it strikes at `current`.
    """

    current: float
    voltage: float
    voltage_measured: bool
    efficiency: float
    spot: float
    work_angle: float
    aim: float
    control: str = "steady"
    hold: float | None = None
    current_range: tuple[float, float] = (0.0, 0.0)
    pedal_lag: float = 0.3
    length: float | None = None
    derived: tuple[str, ...] = ()

    @property
    def pedal(self) -> Pedal | None:
        """What the foot follows; None at a steady current."""
        if self.control != "pedal" or self.hold is None:
            return None
        return Pedal(self.hold, self.current_range, self.pedal_lag)

    @property
    def power(self) -> float:
        """Heat that enters the work at full current [W].

        ``P = eta U I``: efficiency eta [-], voltage U [V], current I [A] (definition of the
        efficiency). It is as good as eta; see `efficiency_of_length` for the range.
        """
        return self.efficiency * self.voltage * self.current

    def voltage_at(self, current: float) -> float:
        """Voltage at another current [A]: as measured, of its length, or by the convention [V].

        A measured voltage is kept at every current. See `voltage_of_length` and
        `conventional_voltage` for the others, their sources and ranges.
        """
        if self.voltage_measured or current == self.current:
            return self.voltage
        if self.length is not None:
            return voltage_of_length(self.length, current)
        return conventional_voltage(current)

    def power_at(self, current: float) -> float:
        """Heat that enters the work at another current [A] [W]: ``P = eta U(I) I``."""
        return self.efficiency * self.voltage_at(current) * current
