"""From which vessel was each run packed?"""

from __future__ import annotations

import json

import numpy as np
import pandas as pd

from analysis.linking.entries import Ints, end_of_moment
from analysis.linking.runs import Runs, only_value
from analysis.linking.whereabouts import Whereabouts
from analysis.records.names import vessel_name
from analysis.vocabulary import slug

__all__ = ["TANK_HEADERS", "tanks_of"]

TANK_HEADERS = frozenset(
    {"tank", "vessel", "bright_tank", "bright_beer_tank", "from_tank", "from_vessel", "tank_no", "bbt", "bt", "fv"}
)
"""Further columns of a packaging sheet that say from which vessel a run was packed."""


def tanks_of(runs: Runs, pack_rows: pd.DataFrame, readings: pd.DataFrame, run: Ints, where: Whereabouts) -> pd.Series:
    """Return each run's vessel, "mixed" where there are several, missing where none is known.

    What the packaging sheet says counts before what was written with the readings at the filler and in packs, and that
    before the vessel in which the run's batches last stood.

    Parameters
    ----------
    runs : Runs
    pack_rows : DataFrame
        The packaging records.
    readings : DataFrame
        The records of readings.
    run : ndarray, shape (n_readings,)
        The run of each reading, -1 where it has none.
    where : Whereabouts
    """
    n = len(runs.table)
    written = only_value(runs.row_run, _written(pack_rows["extra"]), n)
    beside = only_value(run, readings["vessel"], n)
    members = runs.members
    packed = end_of_moment(members["packed"].to_numpy(np.int64))
    stood = only_value(members["run"].to_numpy(np.int64), where.at(members["use"].to_numpy(np.int64), packed), n)
    return written.where(written.notna(), beside.where(beside.notna(), stood))


def _written(extra: pd.Series) -> pd.Series:
    """Return the vessel that each packaging record names in a further column."""
    place, texts = pd.factorize(extra, use_na_sentinel=True)
    documents: list[dict[str, object]] = json.loads(f"[{','.join(texts)}]")
    named = [[str(cell) for header, cell in d.items() if slug(header) in TANK_HEADERS and cell] for d in documents]
    vessels = pd.Series([vessel_name(cells[0]) if cells else None for cells in named], dtype="str")
    return pd.Series(vessels.array.take(place, allow_fill=True))
