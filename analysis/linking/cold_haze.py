"""Which hazes of a sample were read cold beside warm ones?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.linking.entries import Ints

__all__ = ["COLD_HAZE", "cold_apart"]

COLD_HAZE = "haze read cold"
"""The name under which cold readings are kept apart until the chill haze is known."""

_COLD, _WARM = 5.0, 15.0
"""A reading at or below the one is a cold one, at or above the other a warm one [°C] (common practice, no source)."""


def cold_apart(readings: pd.DataFrame, sample: Ints) -> pd.Series:
    """Return the readings' quantities, a cold haze beside a warm one of the same sample under a name of its own.

    The two are different quantities: their mean would be neither.

    Parameters
    ----------
    readings : DataFrame
        ``quantity``, ``temperature`` [°C].
    sample : ndarray, shape (n,)
        The sample of each reading, from 0.
    """
    quantity = readings["quantity"]
    haze = (quantity == "haze").to_numpy(bool)
    temperature = readings["temperature"].to_numpy(np.float64)
    cold, warm = haze & (temperature <= _COLD), haze & (temperature >= _WARM)
    if not (cold.any() and warm.any()):
        return quantity
    has_warm = np.zeros(sample.max() + 1, dtype=bool)
    has_warm[sample[warm]] = True
    return quantity.mask(cold & has_warm[sample], COLD_HAZE)
