"""Numbers as sentences say them: degC, K and mm, with the user's own units in brackets."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees

from ..case.case import Case
from ..constants import ZERO_CELSIUS

__all__ = ["FOOT", "OUT_OF_SCOPE", "POUND", "Wording", "listed", "numbered", "told_apart"]

# said wherever a strength is shown
OUT_OF_SCOPE = "not for fracture-critical, pressure, fuel, lifting or vehicle-safety joints"
POUND = 4.4482216152605  # [N]
FOOT = 0.3048  # [m]


@dataclass(frozen=True)
class Wording:
    """The user's units: `length` "mm" or "in", `temperature` "degC" or "degF"."""

    length: str = "mm"
    temperature: str = "degC"

    @classmethod
    def of(cls, case: Case) -> Wording:
        """Take the units the case was written in."""
        return cls(case.display.length, case.display.temperature)

    def hot(self, kelvin: float) -> str:
        """Temperature given in [K]: "1025 degC" or "1025 degC (1877 degF)"."""
        celsius = kelvin - ZERO_CELSIUS
        text = f"{celsius:.0f} degC"
        return f"{text} ({celsius * 1.8 + 32.0:.0f} degF)" if self.temperature == "degF" else text

    def apart(self, kelvin: float, *limits: float) -> str:
        """Temperature difference [K], with as many digits as keep it off each of the `limits`."""
        text = f"{told_apart(kelvin, *limits)} K"
        return f"{text} ({kelvin * 1.8:.0f} degF)" if self.temperature == "degF" else text

    def long(self, metres: float) -> str:
        """Length given in [m]: "3.3 mm" or "3.3 mm (0.13 in)"."""
        text = f"{metres * 1e3:.1f} mm"
        return f"{text} ({metres / 0.0254:.2f} in)" if self.length == "in" else text

    def thin(self, metres: float) -> str:
        """Gap given in [m]: "0.056 mm" or "0.056 mm (0.0022 in)"."""
        text = f"{metres * 1e3:.3f} mm"
        return f"{text} ({metres / 0.0254:.4f} in)" if self.length == "in" else text

    def force(self, newtons: float) -> str:
        """Load given in [N]: "27.1 kN" or "27.1 kN (6090 lbf)"."""
        text = f"{1e-3 * newtons:.3g} kN"
        return (
            f"{text} ({float(f'{newtons / POUND:.3g}'):.0f} lbf)" if self.length == "in" else text
        )

    def gas(self, volume: float) -> str:
        """Volume of gas given in [m3]: "52 L" or "52 L (1.8 ft^3)"."""
        text = f"{1e3 * volume:.3g} L"
        return f"{text} ({volume / FOOT**3:.2g} ft^3)" if self.length == "in" else text

    @staticmethod
    def angle(radians: float) -> str:
        """Angle given in [rad], 0 to 360: "38 deg"."""
        return f"{degrees(radians) % 360.0:.0f} deg".replace("360 deg", "0 deg")

    @staticmethod
    def share(value: float, *limits: float) -> str:
        """Share 0 to 1 as "96 %", never rounded onto a limit or up to 100 %."""
        percent = [100.0 * limit for limit in (0.0, *limits, 1.0)]
        return f"{told_apart(100.0 * value, *percent)} %"


def told_apart(value: float, *limits: float) -> str:
    """Round to whole numbers, or to as many decimals as leave `value` on its side of each limit."""
    for digits in range(9):
        text = f"{value:.{digits}f}"
        near = float(text)
        if all((near > limit) == (value > limit) and (near < limit) == (value < limit)
               for limit in limits):  # fmt: skip
            return text.removeprefix("-") if near == 0.0 else text
    return f"{value:.6g}"


def listed(items: Sequence[str]) -> str:
    """Join as a sentence does: "a, b and c"."""
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"


def numbered(noun: str, numbers: Sequence[int]) -> str:
    """Name things by number, runs drawn together: "segment 2", "segments 1, 3 and 5 to 7"."""
    runs: list[list[int]] = []
    for number in sorted(set(numbers)):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = []
    for run in runs:
        whole = [f"{run[0]} to {run[-1]}"] if len(run) > 2 else [str(n) for n in run]
        parts += whole
    many = len(set(numbers)) != 1
    return f"{noun}{'s' if many else ''} {listed(parts)}"
