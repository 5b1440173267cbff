"""What was read of one measure in every sample?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import Flags, Floats, Ints

__all__ = ["Reading"]


@dataclass(frozen=True)
class Reading:
    """One measure in every sample: shape (n_samples,) each.

    ``value`` in the kept unit, the limit where ``censored`` is -1 ("<") or 1 (">"), missing where it was not read;
    ``meter`` "mixed" where several were used; ``n`` readings; ``temperature`` [°C], the mean where it was written.
    """

    value: Floats
    censored: Ints
    meter: pd.Series
    n: Ints
    temperature: Floats

    def where(self, chosen: Flags, other: Reading | None) -> Reading:
        """Return this reading in the samples chosen, and the other, or nothing, in the rest."""
        rest = other or _nothing(len(chosen))
        return Reading(
            np.where(chosen, self.value, rest.value),
            np.where(chosen, self.censored, rest.censored),
            self.meter.where(chosen, rest.meter),
            np.where(chosen, self.n, rest.n),
            np.where(chosen, self.temperature, rest.temperature),
        )


def _nothing(n: int) -> Reading:
    none, missing = np.zeros(n, dtype=np.int64), np.full(n, np.nan)
    return Reading(missing, none, pd.Series(pd.NA, index=range(n), dtype="str"), none, missing)
