"""Was the work done to the beer in the tank that was packed, where one batch stood in several at a time?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.linking.entries import NEVER, Ints, end_of_moment
from analysis.linking.lineage import Lineage
from analysis.linking.occupancy import Occupancy
from analysis.linking.work import Done

__all__ = ["in_packed_tank"]


def in_packed_tank(
    done: Done, lineage: Lineage, tank: pd.Series, use: Ints, vessel: pd.Series, seconds: Ints, occupancy: Occupancy
) -> Done:
    """Return what counts once work in the other part of a batch that stood in two tanks under one number is left out.

    Left out is work in a tank that is not the one packed from, done after the beer had come into that one, or in a tank
    that no transfer took the batch out of: its beer went into other packs. Work without a vessel counts for all.

    Parameters
    ----------
    done : Done
        Rows that count by batch and time.
    lineage : Lineage
    tank : Series, shape (n_runs,)
        The vessel that each run is written to have been packed from.
    use : ndarray, shape (n,)
        The batch of each row.
    vessel : Series, shape (n,)
    seconds : ndarray, shape (n,)
    occupancy : Occupancy
    """
    packed_from, _ = occupancy.pool.codes(tank)
    where, _ = occupancy.pool.codes(vessel)
    run = lineage.paths["run"].to_numpy(np.int64)[done.path]
    here, there = packed_from[run], where[done.row]
    doubtful = np.flatnonzero((here >= 0) & (there >= 0) & (here != there))
    row = done.row[doubtful]
    stay_here = occupancy.of_batch(use[row], here[doubtful])
    stay_there = occupancy.of_batch(use[row], there[doubtful])
    both = (stay_here >= 0) & (stay_there >= 0)
    since = occupancy.stays["since"].to_numpy(np.int64)
    left = occupancy.stays["left"].to_numpy(np.int64)
    late = both.copy()
    late[both] = (left[stay_there[both]] == NEVER) | (seconds[row[both]] > end_of_moment(since[stay_here[both]]))
    kept = np.ones(len(done.row), dtype=bool)
    kept[doubtful[late]] = False
    return Done(done.path[kept], done.row[kept])
