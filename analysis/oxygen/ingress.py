"""How much oxygen comes through a closure?

Source of the rates of crown liners: ASBC Journal 45 and MBAA Technical Quarterly 27 (read in excerpt). No rate of cans
was found.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.partition import GAS_CONSTANT, OXYGEN_MOLAR_MASS
from analysis.oxygen.solubility_benson_krause_1984 import STANDARD_PRESSURE

__all__ = ["CLOSURES", "ingress_rate"]

CLOSURES: Mapping[str, float] = MappingProxyType({"crown, PVC liner": 0.002, "crown, low-permeability liner": 0.001})
"""Oxygen through a closure [mL a day at one atmosphere]."""

_KELVIN = 273.15


def ingress_rate(through: ArrayLike, size: ArrayLike, temperature: ArrayLike) -> NDArray[np.float64]:
    """Return how fast a closure raises the oxygen of the beer [µg/L a day], shape (n,), with none consumed.

    Parameters
    ----------
    through : array_like, shape (n,)
        Oxygen through the closure [mL a day at one atmosphere and ``temperature``].
    size : array_like, shape (n,)
        Beer in the pack [mL]; NaN in, NaN out.
    temperature : array_like, shape (n,)
        [°C]
    """
    kelvin = np.asarray(temperature, dtype=np.float64) + _KELVIN
    micrograms = 1000 * STANDARD_PRESSURE * np.asarray(through, dtype=np.float64) * OXYGEN_MOLAR_MASS
    litres = np.asarray(size, dtype=np.float64) / 1000
    return np.asarray(micrograms / (GAS_CONSTANT * kelvin) / litres, dtype=np.float64)
