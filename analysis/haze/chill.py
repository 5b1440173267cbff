"""How much of a haze is there only when the beer is cold?

Chill haze is the haze at 0 °C less the haze at 20 °C, permanent haze that at 20 °C. Source: EBC Analytica 9.30, from
memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["COLD", "WARM", "chill_haze", "permanent_haze"]

COLD, WARM = 0.0, 20.0
"""The two temperatures [°C]."""

_ALLOWED = 1.0


def chill_haze(haze_cold: ArrayLike, haze_warm: ArrayLike) -> NDArray[np.float64]:
    """Return the chill haze [EBC], shape (n,).

    Parameters
    ----------
    haze_cold, haze_warm : array_like, shape (n,)
        Haze of the same beer at 0 °C and at 20 °C, at one angle [EBC]; where either is missing, so is the result. A
        result below 0 is kept: it says how well the two were read.
    """
    return np.asarray(
        np.asarray(haze_cold, dtype=np.float64) - np.asarray(haze_warm, dtype=np.float64), dtype=np.float64
    )


def permanent_haze(haze: ArrayLike, temperature: ArrayLike) -> NDArray[np.float64]:
    """Return the haze where it was read at 20 °C, within 1 °C, and NaN elsewhere [EBC], shape (n,)."""
    near = np.abs(np.asarray(temperature, dtype=np.float64) - WARM) <= _ALLOWED
    return np.where(near, np.asarray(haze, dtype=np.float64), np.nan)
