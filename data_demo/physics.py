"""What do a shaken pack and an air-saturated beaker of water read?

Kept apart from the tool's own physics on purpose: the demo must not inherit a fault that it is there to show.
"""

from __future__ import annotations

import math

__all__ = ["air_saturation", "partition"]

_GAS = 8.314462618
_OXYGEN_MASS = 31.9988
_OXYGEN_IN_AIR = 0.20946


def air_saturation(celsius: float, atmospheres: float = 1.0) -> float:
    """Return the oxygen in air-saturated fresh water [mg/L].

    Source: Benson & Krause 1984, as in APHA Standard Methods 4500-O; the vapour pressure from memory.
    """
    t = celsius + 273.15
    full = math.exp(-139.34411 + 1.575701e5 / t - 6.642308e7 / t**2 + 1.243800e10 / t**3 - 8.621949e11 / t**4)
    vapour = math.exp(11.8571 - 3840.70 / t - 216961 / t**2)
    theta = 9.75e-4 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    wet = (1 - vapour / atmospheres) * (1 - theta * atmospheres) / ((1 - vapour) * (1 - theta))
    return full * atmospheres * wet


def partition(celsius: float, headspace: float, liquid: float) -> float:
    """Return total oxygen over dissolved oxygen in a pack shaken to equilibrium; volumes [mL]."""
    t = celsius + 273.15
    vapour = math.exp(11.8571 - 3840.70 / t - 216961 / t**2)
    dissolved = air_saturation(celsius) / _OXYGEN_MASS / (_OXYGEN_IN_AIR * (1 - vapour) * 101_325)
    return 1 + headspace / liquid / (dissolved * _GAS * t)
