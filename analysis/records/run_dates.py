"""When was the run of each reading packed, as the reading's own file says?

A row that holds a run's packing date and its readings says both at once, and a workbook that lists its runs says of
which year its readings are. Where run numbers begin again each January this alone tells the readings of two years
apart.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.records.occasions import occasions

__all__ = ["packed_by_file"]

Moments = npt.NDArray[np.datetime64]
Codes = npt.NDArray[np.int64]

_NEVER = np.datetime64("NaT", "us")


def packed_by_file(readings: pd.DataFrame, runs: pd.DataFrame) -> Moments:
    """Return when the run of each reading was packed, NaT where its file does not say, shape (n,).

    The run that the reading's own sheet lists with its number and batch counts, of several the last one listed by then;
    else, for a reading that has no date of its own, the only one that the file lists.

    Parameters
    ----------
    readings : DataFrame, n rows
        ``run``, ``batch``, ``measured_at``, ``file``, ``sheet``, ``source_row``.
    runs : DataFrame
        The same columns of packaging runs, and ``packed_at``.
    """
    packed = np.full(len(readings), _NEVER)
    listed = runs[runs["packed_at"].notna().to_numpy() & runs["run"].notna().to_numpy()]
    rows = np.flatnonzero(readings["run"].notna().to_numpy() & readings["file"].isin(listed["file"]).to_numpy())
    if not len(rows):
        return packed
    packed[rows] = _last_listed(readings.iloc[rows], listed)
    left = rows[np.isnat(packed[rows]) & readings["measured_at"].isna().to_numpy()[rows]]
    if len(left):
        asked = readings.iloc[left]
        by_batch = _only_listed(asked, listed, ["file", "run", "batch"])
        by_run = np.where(asked["batch"].isna().to_numpy(), _only_listed(asked, listed, ["file", "run"]), _NEVER)
        packed[left] = np.where(np.isnat(by_batch), by_run, by_batch)
    return packed


def _codes(asked: pd.DataFrame, listed: pd.DataFrame, names: list[str]) -> tuple[Codes, Codes]:
    """Return a number for what each row of either frame says in some columns, the same for the same."""
    whole = np.zeros(len(asked) + len(listed), dtype=np.int64)
    for name in names:
        column = pd.concat([asked[name].astype("object"), listed[name].astype("object")], ignore_index=True)
        code = pd.factorize(column, use_na_sentinel=True)[0].astype(np.int64) + 1
        whole = pd.factorize(whole * (int(code.max(initial=0)) + 1) + code)[0].astype(np.int64)
    return whole[: len(asked)], whole[len(asked) :]


def _last_listed(asked: pd.DataFrame, listed: pd.DataFrame) -> Moments:
    """Return the packing date of the last row of the same sheet, run and batch at or above each row."""
    of, by = _codes(asked, listed, ["file", "sheet", "run", "batch"])
    wide = np.int64(max(asked["source_row"].max(), listed["source_row"].max())) + 1
    keys = by * wide + listed["source_row"].to_numpy(np.int64)
    order = np.argsort(keys, kind="stable")
    place = np.searchsorted(keys[order], of * wide + asked["source_row"].to_numpy(np.int64), side="right") - 1
    found = (place >= 0) & (by[order][np.maximum(place, 0)] == of)
    told = listed["packed_at"].to_numpy(dtype="datetime64[us]")[order][np.maximum(place, 0)]
    return np.where(found, told, _NEVER)


def _only_listed(asked: pd.DataFrame, listed: pd.DataFrame, names: list[str]) -> Moments:
    """Return the first packing date of what some columns name, where that is one use of its number."""
    of, by = _codes(asked, listed, names)
    moment = listed["packed_at"].to_numpy(dtype="datetime64[us]")
    use = occasions(by, moment)
    told = (
        pd.DataFrame({"by": by, "use": use, "at": moment}).groupby("by").agg(uses=("use", "nunique"), at=("at", "min"))
    )
    only = told["at"][told["uses"] == 1]
    return only.reindex(of).to_numpy(dtype="datetime64[us]")
