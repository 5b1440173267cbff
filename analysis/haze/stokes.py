"""How fast would a single particle sink in still beer?

A bound beside a brewery's own settling, never a forecast: tanks turn over with every difference in temperature, yeast
flocculates and finings gather it into larger flocs.

Source: G. G. Stokes 1851, Trans. Camb. Phil. Soc. 9, 8–106. The viscosities are scaled from water, a second computation
and no publication.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["beer_viscosity", "reynolds_number", "stokes_velocity"]

_GRAVITY = 9.80665
_TEMPERATURES = (0.0, 4.0, 12.0, 20.0)
_VISCOSITIES = (2.580, 2.257, 1.777, 1.442)
_BEER_DENSITY = 1010.0


def beer_viscosity(temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the viscosity of beer [mPa·s], shape (n,); NaN outside 0 to 20 °C.

    Parameters
    ----------
    temperature : array_like, shape (n,)
        [°C]; the logs of four values at 0, 4, 12 and 20 °C are joined by straight lines.
    """
    celsius = np.asarray(temperature, dtype=np.float64)
    logs = np.interp(celsius, _TEMPERATURES, np.log(_VISCOSITIES))
    inside = (celsius >= _TEMPERATURES[0]) & (celsius <= _TEMPERATURES[-1])
    return np.where(inside, np.exp(logs), np.nan)


def stokes_velocity(diameter: ArrayLike, density_difference: ArrayLike, viscosity: ArrayLike) -> NDArray[np.float64]:
    """Return how fast a sphere sinks in still liquid [m/s], shape (n,).

    Parameters
    ----------
    diameter : array_like, shape (n,)
        [µm]
    density_difference : array_like, shape (n,)
        Of the particle over the liquid [kg/m³]; below 0 it rises.
    viscosity : array_like, shape (n,)
        [mPa·s]

    Returns
    -------
    ndarray, shape (n,)
        v = g·d²·Δρ/(18·µ); NaN where the viscosity is not above 0, or where Re = v·d·ρ/µ is 0.1 or more (ρ taken as
        1,010 kg/m³) and the relation does not hold.
    """
    metres = np.asarray(diameter, dtype=np.float64) * 1e-6
    pascals = np.asarray(viscosity, dtype=np.float64) * 1e-3
    pascals = np.where(pascals > 0, pascals, np.nan)
    velocity = _GRAVITY * metres**2 * np.asarray(density_difference, dtype=np.float64) / (18 * pascals)
    holds = np.abs(reynolds_number(velocity, diameter, viscosity)) < 0.1
    return np.where(holds, velocity, np.nan)


def reynolds_number(velocity: ArrayLike, diameter: ArrayLike, viscosity: ArrayLike) -> NDArray[np.float64]:
    """Return Re = v·d·ρ/µ of a particle in beer of 1,010 kg/m³, shape (n,); arguments as in ``stokes_velocity``."""
    metres = np.asarray(diameter, dtype=np.float64) * 1e-6
    pascals = np.asarray(viscosity, dtype=np.float64) * 1e-3
    return np.asarray(np.asarray(velocity, dtype=np.float64) * metres * _BEER_DENSITY / pascals, dtype=np.float64)
