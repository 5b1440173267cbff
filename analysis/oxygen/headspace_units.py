"""What is a headspace oxygen told in another way: percent, parts per million by volume, or a partial pressure?

A part per million of a gas is not the part per million of a liquid: what 1 ppmv above a beer means in the beer is
``dissolved_at_equilibrium``.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.partition import OXYGEN_MOLAR_MASS, henry_constant
from analysis.oxygen.solubility_benson_krause_1984 import STANDARD_PRESSURE
from analysis.oxygen.water_vapour_pressure_apha import water_vapour_pressure

__all__ = ["dissolved_at_equilibrium", "partial_pressure", "percent_of_partial_pressure", "percent_of_ppmv"]

_PPMV_A_PERCENT = 10_000.0


def percent_of_ppmv(ppmv: ArrayLike) -> NDArray[np.float64]:
    """Return percent by volume from parts per million by volume, shape (n,); both of dry gas or both of moist."""
    return np.asarray(np.asarray(ppmv, dtype=np.float64) / _PPMV_A_PERCENT, dtype=np.float64)


def partial_pressure(percent: ArrayLike, pressure: ArrayLike, temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the partial pressure of oxygen [kPa], shape (n,).

    Parameters
    ----------
    percent : array_like, shape (n,)
        Of the dry gas [% by volume].
    pressure : array_like, shape (n,)
        Absolute pressure of the moist gas [kPa].
    temperature : array_like, shape (n,)
        [°C]
    """
    dry = np.asarray(pressure, dtype=np.float64) - water_vapour_pressure(temperature)
    return np.asarray(np.asarray(percent, dtype=np.float64) / 100 * dry, dtype=np.float64)


def percent_of_partial_pressure(oxygen: ArrayLike, pressure: ArrayLike, temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the percent by volume of the dry gas, shape (n,), from oxygen's partial pressure [kPa].

    ``pressure`` and ``temperature`` as in ``partial_pressure``; NaN where the vapour alone makes the pressure.
    """
    dry = np.asarray(pressure, dtype=np.float64) - water_vapour_pressure(temperature)
    return np.asarray(100 * np.asarray(oxygen, dtype=np.float64) / np.where(dry > 0, dry, np.nan), dtype=np.float64)


def dissolved_at_equilibrium(
    ppmv: ArrayLike, temperature: ArrayLike, pressure: float = STANDARD_PRESSURE
) -> NDArray[np.float64]:
    """Return what the liquid holds under a gas with so much oxygen [µg/L], shape (n,).

    Parameters
    ----------
    ppmv : array_like, shape (n,)
        Parts per million by volume of the gas at ``pressure`` [kPa], its vapour included.
    temperature : array_like, shape (n,)
        [°C], 0 to 40.
    """
    oxygen = np.asarray(ppmv, dtype=np.float64) * 1e-6 * pressure * 1000
    return np.asarray(1000 * henry_constant(temperature) * oxygen * OXYGEN_MOLAR_MASS, dtype=np.float64)
