"""How much oxygen is in air trapped in a hose or fitting, and what could it add to a tank?

An upper bound: it takes all of the oxygen to go into the beer, and none to be pushed through or vented.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.partition import GAS_CONSTANT, OXYGEN_IN_AIR, OXYGEN_MOLAR_MASS
from analysis.oxygen.solubility_benson_krause_1984 import STANDARD_PRESSURE

__all__ = ["added_to_beer", "hose_volume", "oxygen_in_air"]

_KELVIN = 273.15


def oxygen_in_air(
    volume: ArrayLike, temperature: ArrayLike, pressure: float = STANDARD_PRESSURE
) -> NDArray[np.float64]:
    """Return the oxygen in a volume of dry air.

    Parameters
    ----------
    volume : array_like, shape (n,)
        [L]
    temperature : array_like, shape (n,)
        [°C]
    pressure : float
        Absolute [kPa].

    Returns
    -------
    ndarray, shape (n,)
        Oxygen [mg]: y·P·V·M/(RT).
    """
    kelvin = np.asarray(temperature, dtype=np.float64) + _KELVIN
    moles = OXYGEN_IN_AIR * pressure * np.asarray(volume, dtype=np.float64) / (GAS_CONSTANT * kelvin)
    return np.asarray(1000 * moles * OXYGEN_MOLAR_MASS, dtype=np.float64)


def hose_volume(length: float, diameter: float) -> float:
    """Return the inner volume of a hose [L].

    Parameters
    ----------
    length : float
        [m]
    diameter : float
        Inner diameter [mm].

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    if not (length > 0 and diameter > 0):
        raise ValueError(f"hose_volume: length and diameter must be above 0, got {length} and {diameter}")
    return math.pi / 4 * (diameter / 1000) ** 2 * length * 1000


def added_to_beer(oxygen: ArrayLike, beer: float) -> NDArray[np.float64]:
    """Return what oxygen adds to beer at most [µg/L], shape (n,).

    Parameters
    ----------
    oxygen : array_like, shape (n,)
        [mg]
    beer : float
        [hL]

    Raises
    ------
    ValueError
        If ``beer`` is not above 0.
    """
    if not beer > 0:
        raise ValueError(f"added_to_beer: beer must be above 0, got {beer}")
    return np.asarray(10 * np.asarray(oxygen, dtype=np.float64) / beer, dtype=np.float64)
