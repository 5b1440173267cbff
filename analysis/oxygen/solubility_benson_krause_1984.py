"""How much oxygen does water hold in equilibrium with air?

Source: B. B. Benson and D. Krause, Limnology and Oceanography 29 (1984) 620–632, in the form of APHA method 4500-O and
USGS Office of Water Quality technical memorandum 2011.03.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.water_vapour_pressure_apha import water_vapour_pressure

__all__ = ["HIGHEST_TEMPERATURE", "LOWEST_TEMPERATURE", "STANDARD_PRESSURE", "oxygen_solubility"]

STANDARD_PRESSURE = 101.325
"""One atmosphere [kPa]."""

LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE = 0.0, 40.0
"""The range in which the relation was fitted [°C]."""

_KELVIN = 273.15


def oxygen_solubility(temperature: ArrayLike, pressure: ArrayLike = STANDARD_PRESSURE) -> NDArray[np.float64]:
    """Return the dissolved oxygen of fresh water in equilibrium with water-saturated air.

    Parameters
    ----------
    temperature : array_like, shape (n,)
        Temperature of the water [°C].
    pressure : array_like, shape () or (n,)
        Total pressure of the moist air [kPa].

    Returns
    -------
    ndarray, shape (n,)
        Dissolved oxygen [mg/L]; NaN where the temperature is missing or outside 0 to 40 °C, or where the pressure does
        not exceed the vapour pressure of water.

    Notes
    -----
    At one atmosphere ln C = −139.34411 + 1.575701e5/T − 6.642308e7/T² + 1.243800e10/T³ − 8.621949e11/T⁴, T in K. At
    another pressure P [atm], C_P = C·P·[(1 − p/P)(1 − θP)]/[(1 − p)(1 − θ)], p the vapour pressure of water [atm] and
    θ = 9.75e-4 − 1.426e-5 t + 6.436e-8 t², t in °C.
    """
    celsius = np.asarray(temperature, dtype=np.float64)
    fitted = (celsius >= LOWEST_TEMPERATURE) & (celsius <= HIGHEST_TEMPERATURE)
    celsius = np.where(fitted, celsius, np.nan)
    return np.asarray(_at_one_atmosphere(celsius) * _pressure_factor(celsius, np.asarray(pressure)), dtype=np.float64)


def _at_one_atmosphere(celsius: NDArray[np.float64]) -> NDArray[np.float64]:
    inverse = 1.0 / (celsius + _KELVIN)
    terms = (-139.34411, 1.575701e5, -6.642308e7, 1.243800e10, -8.621949e11)
    return np.asarray(np.exp(sum(c * inverse**power for power, c in enumerate(terms))), dtype=np.float64)


def _pressure_factor(celsius: NDArray[np.float64], pressure: NDArray[np.float64]) -> NDArray[np.float64]:
    vapour = water_vapour_pressure(celsius) / STANDARD_PRESSURE
    atmospheres = pressure / STANDARD_PRESSURE
    atmospheres = np.where(atmospheres > vapour, atmospheres, np.nan)
    theta = 9.75e-4 - 1.426e-5 * celsius + 6.436e-8 * celsius**2
    moist = (atmospheres - vapour) * (1 - theta * atmospheres)
    return np.asarray(moist / ((1 - vapour) * (1 - theta)), dtype=np.float64)
