"""How large is the vapour pressure of water?

Source: the equation printed with the oxygen tables of APHA, Standard Methods for the Examination of Water and
Wastewater, method 4500-O. The coefficients are from memory; the tests hold them against the published pressure checks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["water_vapour_pressure"]

_KELVIN = 273.15
_ATMOSPHERE = 101.325


def water_vapour_pressure(temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the saturation pressure of water.

    Parameters
    ----------
    temperature : array_like, shape (n,)
        Temperature [°C], 0 to 40; a missing value stays missing.

    Returns
    -------
    ndarray, shape (n,)
        Vapour pressure [kPa].

    Notes
    -----
    ln p = 11.8571 − 3840.70/T − 216961/T², p in atm, T in K.
    """
    kelvin = np.asarray(temperature, dtype=np.float64) + _KELVIN
    return np.asarray(_ATMOSPHERE * np.exp(11.8571 - 3840.70 / kelvin - 216961.0 / kelvin**2), dtype=np.float64)
