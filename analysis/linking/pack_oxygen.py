"""How much oxygen was in a pack of which only the shaken beer was read?"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.linking.entries import Flags, Floats
from analysis.linking.sample_reading import Reading
from analysis.linking.samples import Samples
from analysis.oxygen import total_oxygen_from_shaken

__all__ = ["TotalOxygen", "total_oxygen_of"]

_SHAKEN, _TOTAL, _HEADSPACE, _TEMPERATURE = "dissolved_oxygen", "total_oxygen", "headspace_oxygen", "temperature"


@dataclass(frozen=True)
class TotalOxygen:
    """Total package oxygen of every sample, which of them were computed, and why others could not be."""

    reading: Reading | None
    computed: Flags
    unknown: pd.DataFrame


def total_oxygen_of(samples: Samples, size: Floats, headspace: Floats, unshaken: Flags) -> TotalOxygen:
    """Return total package oxygen, computed by the partition of oxygen where a run's packs were only read shaken.

    It is computed for a run of which no pack was read for total oxygen and no headspace was read: there, dissolved
    oxygen in a pack is taken as read after shaking to equilibrium. The temperature is the one written with the reading,
    else the one read in that sample; the fill temperature is not that of the pack when it was shaken and is not used. A
    reading below a limit gives a total below a limit.

    Parameters
    ----------
    samples : Samples
    size, headspace : ndarray, shape (n_samples,)
        Volumes of beer and gas in the sample's pack [mL].
    unshaken : ndarray, shape (n_samples,)
        Whether it is on record that the pack was not shaken.
    """
    n = len(samples.table)
    shaken, read = samples.readings.get(_SHAKEN), samples.readings.get(_TOTAL)
    if shaken is None:
        return TotalOxygen(read, np.zeros(n, dtype=bool), _reasons({}))
    measured = [samples.readings[name] for name in (_TOTAL, _HEADSPACE) if name in samples.readings]
    run = samples.table["run"].to_numpy(np.int64)
    otherwise = np.zeros(run.max(initial=-1) + 1, dtype=bool)
    for reading in measured:
        otherwise[run[~np.isnan(reading.value)]] = True
    wanted = ~np.isnan(shaken.value) & ~otherwise[run]
    temperature = _temperature(samples, shaken)
    total = total_oxygen_from_shaken(shaken.value, size, headspace, temperature)
    computed = np.asarray(wanted & ~unshaken & ~np.isnan(total), dtype=np.bool_)
    joined = replace(shaken, value=total).where(computed, read) if computed.any() else read
    return TotalOxygen(joined, computed, _why_not(wanted & ~computed, unshaken, size, headspace, temperature))


def _temperature(samples: Samples, shaken: Reading) -> Floats:
    beside = samples.readings.get(_TEMPERATURE)
    if beside is None:
        return shaken.temperature
    return np.where(np.isnan(shaken.temperature), beside.value, shaken.temperature)


def _why_not(missed: Flags, unshaken: Flags, size: Floats, headspace: Floats, temperature: Floats) -> pd.DataFrame:
    """Return how many samples have no computed total for which reason, the first that holds."""
    reasons = {
        "the pack was not shaken": unshaken,
        "the run has no pack size": ~(size > 0),
        "the run has no headspace volume": ~(headspace >= 0),
        "the temperature of the shaken pack is not on record": np.isnan(temperature),
        "the temperature of the shaken pack is outside 0 to 40 °C": np.ones_like(missed),
    }
    counts: dict[str, int] = {}
    for reason, holds in reasons.items():
        counts[f"total oxygen not computed: {reason}"] = int((missed & holds).sum())
        missed = missed & ~holds
    return _reasons(counts)


def _reasons(counts: dict[str, int]) -> pd.DataFrame:
    met = {reason: count for reason, count in counts.items() if count}
    return pd.DataFrame({"kind": "readings", "reason": list(met), "count": list(met.values())})
