"""Which row of a corrected file is a row of its earlier version, though its date is now of another year?

A slip of the year is made every January. Where the newest version of a file and sheet no longer has a row that an
earlier version had, and has one of the same number in the same place, dated in another year, the date was corrected:
both are about one thing. Two years that stand in one version are two things.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.claims import Claims

__all__ = ["join_moved"]

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]


def join_moved(claims: Claims, group: Indices, use: Indices, counted: Bools) -> Indices:
    """Return the uses, those of a row whose date was corrected to another year made one.

    Parameters
    ----------
    claims : Claims, n rows
        Every claim about the numbers that any of them is about.
    group : array, shape (n,)
        The number that each row names.
    use : array, shape (n,)
        Which use of the number each is about.
    counted : array, shape (n,)
        Whether each is a claim of an intake that was not withdrawn.
    """
    frame = pd.DataFrame(
        {
            "group": group, "use": use, "family": claims.about["family"], "intake": claims.about["intake"],
            "row": claims.packed.source_row,
        }
    )[counted]  # fmt: skip
    several = frame.groupby("group")["use"].transform("nunique") > 1
    frame = frame[several]
    if not len(frame):
        return use
    newest = frame["intake"].eq(frame.groupby(["group", "family"])["intake"].transform("max"))
    now = frame[newest].drop_duplicates(["group", "family", "row", "use"])
    kept = pd.MultiIndex.from_frame(now[["group", "family", "use"]])
    gone = frame[~newest.to_numpy() & ~pd.MultiIndex.from_frame(frame[["group", "family", "use"]]).isin(kept)]
    pairs = gone.merge(now, on=["group", "family", "row"], suffixes=("_then", "_now"))
    joined = use.copy()
    for then, moved_to in pairs[["use_then", "use_now"]].drop_duplicates().itertuples(index=False):
        joined[joined == joined[use == then][0]] = joined[use == moved_to][0]
    return joined
