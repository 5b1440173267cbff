"""What is a packaging run called on a sheet that has no column for it?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analysis.records.context import Context, Values

__all__ = ["name_runs"]


def name_runs(context: Context, values: Values) -> None:
    """Name each run by its batch and the day it was packed, where a sheet of packaging runs has no column of runs.

    A small brewery that packs a batch in a day has no use for a run number; the batch and the day say which is meant.
    """
    if context.kind != "pack_runs" or context.recognised.kept("run") is not None:
        return
    packed = pd.Series(values.moments["packed_at"])
    known = values.present("batch") & packed.notna().to_numpy()
    days = packed.dt.strftime("%Y-%m-%d").astype("str")
    values.texts["run"] = (values.texts["batch"] + " " + days).where(known).astype("str")
    if np.any(known & context.active):
        context.faults.note(
            "run-named",
            "No column names the packaging run; what was packed of a batch on one day was taken for one run.",
            "Nothing to do if that is right; else add a column with the run's number.",
        )
