"""How does oxygen share itself between the liquid and the gas above it?

Source: Henry's law, with the constant that the solubility of Benson and Krause (1984) implies for air of 20.946 %
oxygen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.solubility_benson_krause_1984 import STANDARD_PRESSURE, oxygen_solubility
from analysis.oxygen.water_vapour_pressure_apha import water_vapour_pressure

__all__ = ["GAS_CONSTANT", "OXYGEN_IN_AIR", "OXYGEN_MOLAR_MASS", "gas_liquid_ratio", "henry_constant"]

OXYGEN_IN_AIR = 0.20946
"""Oxygen in dry air [mol/mol]."""

OXYGEN_MOLAR_MASS = 31.9988
"""[g/mol]"""

GAS_CONSTANT = 8.314462618
"""[J/(mol K)], CODATA 2018."""

_KELVIN = 273.15


def henry_constant(temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the oxygen that water holds for each pascal of oxygen above it.

    Parameters
    ----------
    temperature : array_like, shape (n,)
        Temperature [°C], 0 to 40.

    Returns
    -------
    ndarray, shape (n,)
        Henry's constant [mol/(m³ Pa)]; NaN outside the range.

    Notes
    -----
    H = C / (M·y·(P − p)): C the solubility [g/m³], M the molar mass, y oxygen in dry air, P one atmosphere and p the
    vapour pressure of water [Pa].
    """
    dry_pressure = 1000 * (STANDARD_PRESSURE - water_vapour_pressure(temperature))
    oxygen_pressure = OXYGEN_IN_AIR * dry_pressure
    return np.asarray(oxygen_solubility(temperature) / (OXYGEN_MOLAR_MASS * oxygen_pressure), dtype=np.float64)


def gas_liquid_ratio(temperature: ArrayLike, solubility_factor: float = 1.0) -> NDArray[np.float64]:
    """Return oxygen in a litre of gas over oxygen in a litre of liquid, at equilibrium.

    Parameters
    ----------
    temperature : array_like, shape (n,)
        Temperature [°C], 0 to 40.
    solubility_factor : float
        How much oxygen the liquid dissolves for each part that water does; beer dissolves a little less than water.

    Returns
    -------
    ndarray, shape (n,)
        K = 1/(HRT), dimensionless; NaN outside the range.

    Raises
    ------
    ValueError
        If ``solubility_factor`` is not above 0.
    """
    if not solubility_factor > 0:
        raise ValueError(f"gas_liquid_ratio: solubility_factor must be above 0, got {solubility_factor}")
    kelvin = np.asarray(temperature, dtype=np.float64) + _KELVIN
    henry = solubility_factor * henry_constant(temperature)
    return np.asarray(1.0 / (henry * GAS_CONSTANT * kelvin), dtype=np.float64)
