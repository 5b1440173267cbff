"""Which batches are in tank now: brewed, and none of their beer packed yet?"""

from __future__ import annotations

import pandas as pd

from analysis.linking import PackTable
from analysis.records.names import batch_number

__all__ = ["as_of", "batch_named", "batches_in_tank", "tank_of"]

_LONGEST_DAYS = 90


def as_of(table: PackTable) -> pd.Timestamp | None:
    """Return the latest moment on record: what the books know, they know as of then. None where they are empty."""
    frames = ((table.readings, "measured_at"), (table.operations, "started_at"), (table.rows, "packed_at"))
    latest = [frame[column].max() for frame, column in frames if column in frame and len(frame)]
    known = [moment for moment in latest if not pd.isna(moment)]
    return max(known) if known else None


def batches_in_tank(table: PackTable, at: pd.Timestamp | None = None) -> tuple[str, ...]:
    """Return the keys of the batches in tank, in the order of brewing.

    A batch counts as in tank where none of its beer is in a packaging run and it was brewed within ninety days.
    """
    moment = at if at is not None else as_of(table)
    if moment is None or not len(table.batches):
        return ()
    packed = set(table.blends["batch"]) if len(table.blends) else set(table.rows["batch"])
    own = table.batches[~table.batches["batch"].isin(packed) & table.batches["brewed_on"].notna()]
    recent = own[(own["brewed_on"] >= moment - pd.Timedelta(days=_LONGEST_DAYS)) & (own["brewed_on"] <= moment)]
    return tuple(recent.sort_values("brewed_on")["batch"].astype(str))


def batch_named(table: PackTable, name: str) -> str | None:
    """Return the key of a batch by its key or its number, the latest use of a number that was used again."""
    if name in set(table.batches["batch"]):
        return name
    own = table.batches[table.batches["number"].astype(str).isin([batch_number(name), batch_number(name, "")])]
    return str(own.sort_values("brewed_on")["batch"].iloc[-1]) if len(own) else None


def tank_of(table: PackTable, batch: str) -> str:
    """Return the vessel that a batch was last seen in, "" where no record names one."""
    seen = [
        frame.loc[frame["batch"] == batch, ["tank", column]].set_axis(["tank", "at"], axis=1)
        for frame, column in ((table.readings, "measured_at"), (table.operations, "started_at"))
        if len(frame)
    ]
    told = pd.concat(seen).dropna() if seen else pd.DataFrame(columns=["tank", "at"])
    if len(told):
        return str(told.sort_values("at")["tank"].iloc[-1])
    vessel = table.batches.loc[table.batches["batch"] == batch, "vessel"].dropna()
    return str(vessel.iloc[0]) if len(vessel) else ""
