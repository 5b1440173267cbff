"""Which use of a number is a row about, where numbers begin again each January?

A brewery that counts its runs and batches anew each year has a run 1 of batch 1 every year. The day of packing tells
them apart: the same run and batch is another run where it was packed in another calendar year, and more than 60 days
from the other (common practice, no source). Within a year a number does not come round again, and a run that was moved
by a few weeks across New Year is the same run: there two dates contradict each other.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

__all__ = ["APART", "are_apart", "occasions"]

APART = np.timedelta64(60, "D")
"""Two days of packing further apart than this, in two calendar years, are those of two runs."""

Flags = npt.NDArray[np.bool_]
Groups = npt.NDArray[np.int64]
Moments = npt.NDArray[np.datetime64]


def are_apart(earlier: Moments, later: Moments) -> Flags:
    """Return whether two moments are those of two uses of one number; False where either is missing, shape (n,)."""
    years = earlier.astype("datetime64[Y]") != later.astype("datetime64[Y]")
    return np.asarray(years & (np.abs(later - earlier) > APART))


def occasions(group: Groups, moment: Moments, counts: Flags | None = None) -> Groups:
    """Return a number for each use of a number that rows are about, shape (n,).

    A row without a moment is of the only use that its group has, and of a use of its own where it has none or several.

    Parameters
    ----------
    group : ndarray of int64, shape (n,)
        What the rows agree on, from 0.
    moment : ndarray of datetime64[us], shape (n,)
        When each row says that it was, NaT where it does not.
    counts : ndarray of bool, shape (n,), optional
        The rows that may tell uses apart; all by default. Any other is of the use that it lies next to.
    """
    told = ~np.isnat(moment) if counts is None else ~np.isnat(moment) & counts
    use = np.full(len(group), -1, dtype=np.int64)
    rows = np.flatnonzero(told)
    rows = rows[np.lexsort((moment[rows], group[rows]))]
    of, at = group[rows], moment[rows]
    fresh = np.ones(len(rows), dtype=bool)
    fresh[1:] = (of[1:] != of[:-1]) | are_apart(at[:-1], at[1:])
    use[rows] = np.cumsum(fresh) - 1
    uses = int(fresh.sum())
    use = _beside(use, group, moment, rows)
    return _without_moment(use, group, of[fresh], uses)


def _beside(use: Groups, group: Groups, moment: Moments, rows: Groups) -> Groups:
    """Return the uses with those of dated rows that do not count: the one next to each, or one of its own."""
    open_rows = np.flatnonzero(~np.isnat(moment) & (use < 0))
    if not len(open_rows):
        return use
    named = pd.DataFrame({"moment": moment[rows], "group": group[rows], "use": use[rows], "told": moment[rows]})
    asked = pd.DataFrame({"moment": moment[open_rows], "group": group[open_rows], "row": open_rows})
    found = pd.merge_asof(
        asked.sort_values("moment"), named.sort_values("moment"), on="moment", by="group", direction="nearest"
    )
    row, near = found["row"].to_numpy(np.int64), found["told"].to_numpy(dtype="datetime64[us]")
    joins = found["use"].notna().to_numpy() & ~are_apart(moment[row], near)
    filled = use.copy()
    filled[row[joins]] = found["use"].to_numpy(np.float64)[joins].astype(np.int64)
    alone = np.setdiff1d(open_rows, row[joins])
    own = pd.MultiIndex.from_arrays([group[alone], moment[alone]])
    filled[alone] = use.max(initial=-1) + 1 + pd.factorize(own)[0]
    return filled


def _without_moment(use: Groups, group: Groups, of: Groups, uses: int) -> Groups:
    """Return the uses with those of rows without a moment; ``of`` is the group of each use that was told."""
    open_rows = np.flatnonzero(use < 0)
    if not len(open_rows):
        return use
    several = np.bincount(of, minlength=int(group.max(initial=-1)) + 1)
    first = np.full(len(several), -1, dtype=np.int64)
    first[of] = np.arange(uses)
    joins = several[group[open_rows]] == 1
    filled = use.copy()
    filled[open_rows[joins]] = first[group[open_rows[joins]]]
    alone = open_rows[~joins]
    filled[alone] = use.max(initial=-1) + 1 + pd.factorize(group[alone])[0]
    return filled
