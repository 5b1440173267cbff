"""In which vessel was a batch at a given moment?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import NEVER, Ints, seconds_of, taken
from analysis.linking.numbers import UseIndex

__all__ = ["Whereabouts", "whereabouts_of"]

_NOT_WHERE_IT_STOOD = ("transfer", "filter")
"""A vessel written beside these may be where the beer came from or went to, or the filter itself."""


@dataclass(frozen=True)
class Whereabouts:
    """Each moment at which a batch is known to have stood in a vessel, ready to be found, and the vessel's name."""

    index: UseIndex
    vessel: pd.Series

    def at(self, use: Ints, seconds: Ints) -> pd.Series:
        """Return the vessel in which each batch was last known to stand by each moment, missing where none is."""
        moment = np.where(seconds == NEVER, np.iinfo(np.int32).max, seconds)
        known = use < len(self.index.count)
        place, _ = self.index.find(np.where(known, use, -1), use >= 0, moment)
        return taken(self.vessel, place)


def whereabouts_of(
    batches: pd.DataFrame, transfers: pd.DataFrame, operations: pd.DataFrame, operation_use: Ints
) -> Whereabouts:
    """Return where the batches were: as the batch list, the transfers and the cellar operations tell.

    Parameters
    ----------
    batches : DataFrame
        ``vessel``, ``first_seen`` [s]; a row a batch.
    transfers : DataFrame
        ``target`` (a batch), ``to_vessel``, ``moved`` [s].
    operations : DataFrame
        The operations' records.
    operation_use : ndarray, shape (n_operations,)
        The batch of each operation, -1 where it has none.
    """
    tells = ~operations["operation"].isin(_NOT_WHERE_IT_STOOD).to_numpy(bool)
    worked = pd.DataFrame(
        {"use": operation_use, "at": seconds_of(operations["started_at"]), "vessel": operations["vessel"]}
    )[tells]
    brewed = pd.DataFrame({"use": np.arange(len(batches)), "at": batches["first_seen"], "vessel": batches["vessel"]})
    moved = pd.DataFrame({"use": transfers["target"], "at": transfers["moved"], "vessel": transfers["to_vessel"]})
    brewed["at"] = brewed["at"].where(brewed["at"] != NEVER, 0)
    stood = pd.concat([brewed, worked, moved], ignore_index=True)
    stood = stood[(stood["use"] >= 0) & (stood["at"] != NEVER) & stood["vessel"].notna()].reset_index(drop=True)
    use, at = stood["use"].to_numpy(np.int64), stood["at"].to_numpy(np.int64)
    # Of what is written for one moment the later row counts: a transfer after the work before it.
    index = UseIndex.of(use, at, np.full(len(use), np.iinfo(np.int64).max), len(batches))
    return Whereabouts(index, stood["vessel"])
