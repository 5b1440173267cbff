"""How much oxygen is left in a vessel's gas after it was purged?

Both ways take the gas to be mixed all the time. A vessel that fills from the bottom with heavier, colder gas does
better, one with a dead leg worse.

Source: the mass balance of a mixed vessel.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.oxygen.partition import OXYGEN_IN_AIR

__all__ = ["AIR_PERCENT", "after_pressure_cycles", "after_sweep", "cycles_needed", "volumes_needed"]

AIR_PERCENT = 100 * OXYGEN_IN_AIR
"""Oxygen in dry air [% by volume]."""


def after_pressure_cycles(
    cycles: ArrayLike, high: float, low: float, start: float = AIR_PERCENT
) -> NDArray[np.float64]:
    """Return the oxygen left after pressurising with pure gas and venting, so many times.

    Parameters
    ----------
    cycles : array_like, shape (n,)
    high, low : float
        Absolute pressures before and after venting [kPa].
    start : float
        Oxygen at first [% by volume].

    Returns
    -------
    ndarray, shape (n,)
        y₀·(low/high)ⁿ [% by volume].

    Raises
    ------
    ValueError
        If ``low`` is not above 0 or ``high`` not above ``low``.
    """
    return np.asarray(start * _ratio(high, low) ** np.asarray(cycles, dtype=np.float64), dtype=np.float64)


def after_sweep(volumes: ArrayLike, start: float = AIR_PERCENT) -> NDArray[np.float64]:
    """Return the oxygen left after so many vessel volumes of pure gas were swept through.

    Parameters
    ----------
    volumes : array_like, shape (n,)
        Gas at the vessel's own pressure and temperature, in volumes of the vessel.
    start : float
        Oxygen at first [% by volume].

    Returns
    -------
    ndarray, shape (n,)
        y₀·exp(−v) [% by volume].
    """
    return np.asarray(start * np.exp(-np.asarray(volumes, dtype=np.float64)), dtype=np.float64)


def cycles_needed(wanted: float, high: float, low: float, start: float = AIR_PERCENT) -> int:
    """Return how many pressure cycles bring the oxygen down to ``wanted`` [% by volume]; 0 where it is there already.

    Raises
    ------
    ValueError
        If ``wanted`` is not above 0, or as for ``after_pressure_cycles``.
    """
    return int(np.ceil(_folds(wanted, start) / -np.log(_ratio(high, low)) - 1e-12))


def volumes_needed(wanted: float, start: float = AIR_PERCENT) -> float:
    """Return how many volumes swept through bring the oxygen down to ``wanted`` [% by volume].

    Raises
    ------
    ValueError
        If ``wanted`` is not above 0.
    """
    return _folds(wanted, start)


def _ratio(high: float, low: float) -> float:
    if not 0 < low < high:
        raise ValueError(f"purging: pressures must be absolute with 0 < low < high, got {low} and {high}")
    return low / high


def _folds(wanted: float, start: float) -> float:
    if not wanted > 0:
        raise ValueError(f"purging: wanted must be above 0, got {wanted}")
    return max(0.0, float(np.log(start / wanted)))
