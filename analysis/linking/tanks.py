"""From which vessel was each run packed?"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd

from analysis.linking.entries import Ints, end_of_moment
from analysis.linking.occupancy import Occupancy
from analysis.linking.runs import Runs, only_value
from analysis.linking.whereabouts import Whereabouts
from analysis.records.names import vessel_name
from analysis.vocabulary import slug

__all__ = ["TANK_HEADERS", "tanks_of", "written_tanks"]

TANK_HEADERS = frozenset(
    {"tank", "vessel", "bright_tank", "bright_beer_tank", "from_tank", "from_vessel", "tank_no", "bbt", "bt", "fv"}
    | {"ex_tank", "ex_vessel", "ex_bbt", "ex_fv", "from_bbt", "from_fv", "source_tank", "source_vessel", "packed_from"}
)
"""Further columns of a packaging sheet that say from which vessel a run was packed."""


def written_tanks(runs: Runs, pack_rows: pd.DataFrame, readings: pd.DataFrame, run: Ints) -> pd.Series:
    """Return the vessel that each run is written to have been packed from, "mixed" where several are.

    What the packaging sheet says counts before what was written with the readings at the filler and in packs.

    Parameters
    ----------
    runs : Runs
    pack_rows : DataFrame
        The packaging records.
    readings : DataFrame
        The records of readings.
    run : ndarray, shape (n_readings,)
        The run of each reading, -1 where it has none.
    """
    n = len(runs.table)
    written = only_value(runs.row_run, _written(pack_rows["extra"]), n)
    taken_there = (run >= 0) & ~readings["stage"].isin(("fermenter", "bright_tank")).to_numpy(bool)
    beside = only_value(np.where(taken_there, run, -1), readings["vessel"], n)
    return written.where(written.notna(), beside)


def tanks_of(runs: Runs, written: pd.Series, occupancy: Occupancy, where: Whereabouts) -> pd.Series:
    """Return the vessel that each run was packed from, "mixed" where there are several, missing where none is known.

    Where it is not written, it is the vessel in which the run's batches last stood; of a batch that stood in several it
    is not known.

    Parameters
    ----------
    runs : Runs
    written : Series, shape (n_runs,)
        As from ``written_tanks``.
    occupancy : Occupancy
    where : Whereabouts
    """
    members = runs.members
    run, use = members["run"].to_numpy(np.int64), members["use"].to_numpy(np.int64)
    packed = members["packed"].to_numpy(np.int64)
    last = where.at(use, end_of_moment(packed)).mask(occupancy.in_several(use, packed))
    stood = only_value(run, last, len(runs.table))
    return written.where(written.notna(), stood)


def _written(extra: pd.Series) -> pd.Series:
    """Return the vessel that each packaging record names in a further column."""
    place, texts = pd.factorize(extra, use_na_sentinel=True)
    documents: list[dict[str, object]] = json.loads(f"[{','.join(texts)}]")
    named = [[str(cell) for header, cell in d.items() if slug(header) in TANK_HEADERS and cell] for d in documents]
    vessels = pd.Series([vessel_name(cells[0]) if cells else None for cells in named], dtype="str")
    return pd.Series(vessels.array.take(place, allow_fill=True))
