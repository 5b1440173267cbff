"""What is the chill haze of a sample whose haze was read cold and warm?

Source: chill haze is the haze at 0 °C less the haze at 20 °C, which is the permanent haze (from memory; the methods are
ASBC Beer-27 and EBC 9.30).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from analysis.linking.cold_haze import COLD_HAZE
from analysis.linking.entries import Flags
from analysis.linking.sample_reading import Reading
from analysis.linking.samples import Samples

__all__ = ["with_chill_haze"]


def with_chill_haze(samples: Samples) -> tuple[Samples, Flags]:
    """Return the samples with chill haze where it was not read but follows from cold and warm haze, and where it does.

    A censored reading gives no difference.
    """
    readings = dict(samples.readings)
    cold = readings.pop(COLD_HAZE, None)
    if cold is None:
        return samples, np.zeros(len(samples.table), dtype=bool)
    warm, read = readings["haze"], readings.get("chill_haze")
    known = ~np.isnan(cold.value) & ~np.isnan(warm.value) & (cold.censored == 0) & (warm.censored == 0)
    computed = known if read is None else known & np.isnan(read.value)
    chill = Reading(cold.value - warm.value, np.zeros_like(cold.censored), cold.meter, cold.n, cold.temperature)
    readings["chill_haze"] = chill.where(computed, read)
    return replace(samples, readings=readings), np.asarray(computed, dtype=np.bool_)
