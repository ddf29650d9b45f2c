"""How long austenitic stainless steel may stay hot before its grain boundaries lose chromium.

**From memory.** The noses are read-offs of the reprinted chart for 18Cr-9Ni steel (ASM Handbook
vol. 13, after Rocha, from memory), right within a factor of `SPREAD`. One web article has 30 to
60 s at 675 degC for 0.06 % carbon, some five times faster. So no pass or fail rests on them.

**Cold work.** 55 and 32 kcal/mol, unstrained and at 20 % strain: 304 with 0.05 % carbon and grains
of 175 um, at 625 to 775 degC (J. Mater. Sci. 35 (2000) 3181-3188, abstract). With grains of 11 um
the same paper has 1.9 and 2 kcal/mol. Where both lines meet is not published. That they meet at
775 degC is an estimate, and cautious: all that is colder sensitises sooner.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

from ...constants import ZERO_CELSIUS

__all__ = ["RANGE", "SPREAD", "nose", "time_to_sensitise"]

Array = NDArray[np.float64]

GAS: Final = 8.314462618  # [J/(mol K)]
UNSTRAINED: Final = 230e3  # [J/mol] 55 kcal/mol
STRAINED: Final = 134e3  # [J/mol] 32 kcal/mol, at 20 % strain
MEET: Final = 775.0 + ZERO_CELSIUS  # [K] where cold work no longer matters
SPREAD: Final = 3.0  # of the times at the nose, either way
# [K] 425 degC: low end in older ASTM language; 850 degC: Metals 9 (2019) 1193
RANGE: Final = (425.0 + ZERO_CELSIUS, 850.0 + ZERO_CELSIUS)


def nose(carbon: float) -> tuple[float, float]:
    """Temperature [K] and time [s] at which a steel sensitises soonest.

    ``T_n = 775 degC - 3080 K/% max(0, 0.08 % - C)`` and ``t_n = 30 s (0.08 % / C)^6.5``: our fit to
    the chart's noses from 0.019 to 0.08 % carbon, within 15 K and 20 % of them.

    Parameters
    ----------
    carbon : [mass percent], above 0
    """
    temperature = 775.0 + ZERO_CELSIUS - 3080.0 * max(0.0, 0.08 - carbon)
    return temperature, 30.0 * (0.08 / carbon) ** 6.5


def time_to_sensitise(temperature: Array, carbon: float, cold_worked: bool = False) -> Array:
    """Time at one temperature after which a steel is sensitised [s]; inf outside `RANGE`.

    ``t = t_n exp(Q/R [1/T - 1/T_n + (T_e - T_n) / T_n^2 ln((T_e - T_n) / (T_e - T))])``: diffusion
    with Q = 230 kJ/mol below the nose; above it the drive fades out towards T_e, the end of
    `RANGE`. The factor makes the nose lie at T_n. The form above the nose is an estimate. Cold work
    of 20 % takes ``exp((Q - 134 kJ/mol)/R [1/T - 1/T_m])`` off it below T_m = 775 degC.

    Parameters
    ----------
    temperature : (n,) [K]
    carbon : [mass percent]; with none it never sensitises
    cold_worked : by 20 %
    """
    time = np.full(np.shape(temperature), np.inf)
    low, end = RANGE
    inside = (temperature >= low) & (temperature < end)
    if carbon <= 0.0 or not inside.any():
        return time
    T = temperature[inside]
    soonest, shortest = nose(carbon)
    over = end - soonest
    fades = over / soonest**2 * np.log(over / (end - T))
    power = UNSTRAINED / GAS * (1.0 / T - 1.0 / soonest + fades)
    if cold_worked:
        power -= (UNSTRAINED - STRAINED) / GAS * np.maximum(0.0, 1.0 / T - 1.0 / MEET)
    time[inside] = shortest * np.exp(power)
    return time
