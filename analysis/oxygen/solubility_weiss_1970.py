"""How much oxygen does water hold in equilibrium with air, by a second published relation?

It stands beside Benson and Krause for checking: the two were fitted to different measurements.

Source: R. F. Weiss, Deep-Sea Research 17 (1970) 721–735, equation 4 at salinity 0, mL (STP)/L; 1.42905 mg/mL. The
coefficients are partly from memory; a test holds them against Benson and Krause.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["oxygen_solubility_weiss"]

_KELVIN = 273.15
_MILLIGRAMS_A_MILLILITRE = 1.42905
_LOWEST, _HIGHEST = 0.0, 40.0


def oxygen_solubility_weiss(temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the dissolved oxygen of fresh water in equilibrium with water-saturated air at one atmosphere.

    Parameters
    ----------
    temperature : array_like, shape (n,)
        [°C]

    Returns
    -------
    ndarray, shape (n,)
        Dissolved oxygen [mg/L]; NaN where the temperature is missing or outside 0 to 40 °C.

    Notes
    -----
    ln C = −173.4292 + 249.6339(100/T) + 143.3483 ln(T/100) − 21.8492(T/100), C in mL/L, T in K.
    """
    celsius = np.asarray(temperature, dtype=np.float64)
    celsius = np.where((celsius >= _LOWEST) & (celsius <= _HIGHEST), celsius, np.nan)
    hundreds = (celsius + _KELVIN) / 100
    logs = -173.4292 + 249.6339 / hundreds + 143.3483 * np.log(hundreds) - 21.8492 * hundreds
    return np.asarray(_MILLIGRAMS_A_MILLILITRE * np.exp(logs), dtype=np.float64)
