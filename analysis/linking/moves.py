"""How often had the beer of each pack been moved?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.linking.entries import Floats
from analysis.linking.lineage import Lineage
from analysis.linking.occupancy import Occupancy
from analysis.linking.one_tank import in_packed_tank
from analysis.linking.work import done_by_packing

__all__ = ["moves_along"]


def moves_along(lineage: Lineage, transfers: pd.DataFrame, tank: pd.Series, occupancy: Occupancy) -> Floats:
    """Return how many transfers are on record along each way into a run, shape (n_paths,).

    A batch's moves from vessel to vessel count, one for all parts moved at one moment, and each passage from one batch
    into another. A move without a date counts.

    Parameters
    ----------
    lineage : Lineage
    transfers : DataFrame
        ``source``, ``target`` (batches), ``to_vessel``, ``moved`` [s].
    tank : Series, shape (n_runs,)
        The vessel that each run is written to have been packed from.
    occupancy : Occupancy
    """
    n = len(lineage.paths)
    itself = transfers[(transfers["source"] == transfers["target"]) & (transfers["source"] >= 0)]
    use, moved = itself["source"].to_numpy(np.int64), np.maximum(itself["moved"].to_numpy(np.int64), 0)
    within = done_by_packing(lineage, use, moved)
    here = in_packed_tank(within, lineage, tank, use, itself["to_vessel"], moved, occupancy)
    moments = pd.DataFrame({"path": here.path, "use": use[here.row], "moved": moved[here.row]}).drop_duplicates()
    moves = np.bincount(moments["path"], minlength=n) + np.bincount(lineage.segments["path"], minlength=n) - 1
    return moves.astype(np.float64)
