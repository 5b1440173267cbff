"""How much oxygen is in a closed pack, liquid and headspace together?

Source: the mass balance over both phases at equilibrium; its ratios are published in C. Vilachá and K. Uhlig, Brauwelt
International 1985 (1) 70–77 (read second-hand).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.partition import GAS_CONSTANT, OXYGEN_MOLAR_MASS, gas_liquid_ratio
from analysis.oxygen.water_vapour_pressure_apha import water_vapour_pressure

__all__ = ["headspace_mass", "shaken_ratio", "total_oxygen_from_both_parts", "total_oxygen_from_shaken"]

_KELVIN = 273.15


def shaken_ratio(
    liquid: ArrayLike, headspace: ArrayLike, temperature: ArrayLike, solubility_factor: float = 1.0
) -> NDArray[np.float64]:
    """Return total package oxygen over the dissolved oxygen of the same pack shaken to equilibrium.

    Parameters
    ----------
    liquid, headspace : array_like, shape (n,)
        Volumes of beer and of gas in the pack [mL].
    temperature : array_like, shape (n,)
        Temperature of the pack when it was shaken [°C], 0 to 40.
    solubility_factor : float
        As in ``gas_liquid_ratio``.

    Returns
    -------
    ndarray, shape (n,)
        Z = 1 + K·Vh/Vl, dimensionless. NaN where a volume is missing, the liquid is not above 0, the headspace is below
        0 or the temperature is outside its range.

    Notes
    -----
    The carbon dioxide in the pack does not enter: each gas follows its own partial pressure.
    """
    beer, gas = np.asarray(liquid, dtype=np.float64), np.asarray(headspace, dtype=np.float64)
    beer, gas = np.where(beer > 0, beer, np.nan), np.where(gas >= 0, gas, np.nan)
    return np.asarray(1.0 + gas_liquid_ratio(temperature, solubility_factor) * gas / beer, dtype=np.float64)


def total_oxygen_from_shaken(
    dissolved: ArrayLike,
    liquid: ArrayLike,
    headspace: ArrayLike,
    temperature: ArrayLike,
    solubility_factor: float = 1.0,
) -> NDArray[np.float64]:
    """Return total package oxygen from dissolved oxygen read after shaking to equilibrium.

    Parameters
    ----------
    dissolved : array_like, shape (n,)
        Dissolved oxygen of the shaken pack [µg/L].
    liquid, headspace, temperature, solubility_factor
        As in ``shaken_ratio``.

    Returns
    -------
    ndarray, shape (n,)
        Total package oxygen for each litre of beer [µg/L]; NaN where ``shaken_ratio`` is.
    """
    ratio = shaken_ratio(liquid, headspace, temperature, solubility_factor)
    return np.asarray(np.asarray(dissolved, dtype=np.float64) * ratio, dtype=np.float64)


def headspace_mass(
    percent: ArrayLike, headspace: ArrayLike, pressure: ArrayLike, temperature: ArrayLike, dry: bool = True
) -> NDArray[np.float64]:
    """Return the mass of oxygen in a headspace.

    Parameters
    ----------
    percent : array_like, shape (n,)
        Oxygen in the gas [% by volume].
    headspace : array_like, shape (n,)
        Volume of the gas [mL].
    pressure : array_like, shape (n,)
        Absolute pressure in the pack [kPa].
    temperature : array_like, shape (n,)
        Temperature [°C].
    dry : bool
        Whether ``percent`` is told of the gas without its water vapour, as the measure ``headspace_oxygen`` is.

    Returns
    -------
    ndarray, shape (n,)
        Oxygen [µg]: y·(P − p)·V·M/(RT) where dry, p the vapour pressure of water; y·P·V·M/(RT) where not.
    """
    fraction = np.asarray(percent, dtype=np.float64) / 100
    kelvin = np.asarray(temperature, dtype=np.float64) + _KELVIN
    vapour = water_vapour_pressure(temperature) if dry else 0.0
    gas_pressure = np.asarray(pressure, dtype=np.float64) - vapour
    # kPa·mL is mJ: millimoles times g/mol is mg, hence the thousand.
    millimoles = fraction * gas_pressure * np.asarray(headspace, dtype=np.float64) / (GAS_CONSTANT * kelvin)
    return np.asarray(1000 * millimoles * OXYGEN_MOLAR_MASS, dtype=np.float64)


def total_oxygen_from_both_parts(
    dissolved: ArrayLike,
    percent: ArrayLike,
    liquid: ArrayLike,
    headspace: ArrayLike,
    pressure: ArrayLike,
    temperature: ArrayLike,
    dry: bool = True,
) -> NDArray[np.float64]:
    """Return total package oxygen of an unshaken pack whose liquid and headspace were both read.

    Parameters
    ----------
    dissolved : array_like, shape (n,)
        Dissolved oxygen of the liquid [µg/L].
    liquid : array_like, shape (n,)
        Volume of the beer [mL].
    percent, headspace, pressure, temperature, dry
        As in ``headspace_mass``.

    Returns
    -------
    ndarray, shape (n,)
        Total package oxygen for each litre of beer [µg/L].
    """
    litres = np.asarray(liquid, dtype=np.float64) / 1000
    gas = headspace_mass(percent, headspace, pressure, temperature, dry)
    return np.asarray(np.asarray(dissolved, dtype=np.float64) + gas / litres, dtype=np.float64)
