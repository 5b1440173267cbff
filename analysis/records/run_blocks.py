"""Which rows of a sheet are of one run, where its number begins again further down in another year?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.records.context import Values
from analysis.records.occasions import occasions

__all__ = ["run_blocks"]


def run_blocks(values: Values) -> npt.NDArray[np.int64]:
    """Return a number for each row that is the same for rows of one run, -1 where the row names none, shape (n,).

    A row without a packing date is of the run of that number that was named last above it, or else of the first below.
    """
    code = pd.factorize(values.texts["run"], use_na_sentinel=True)[0].astype(np.int64)
    if "packed_at" not in values.moments:
        return code
    rows = np.flatnonzero(code >= 0)
    packed = pd.Series(values.moments["packed_at"][rows])
    packed = packed.groupby(code[rows]).ffill().groupby(code[rows]).bfill()
    blocks = np.full(len(code), -1, dtype=np.int64)
    blocks[rows] = occasions(code[rows], packed.to_numpy(dtype="datetime64[us]"))
    return blocks
