"""Which records are dated before the batch that they name was brewed?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analysis.problems import Problem, Severity
from analysis.records import kinds

__all__ = ["before_brewing"]

_MOMENTS: Mapping[str, tuple[str, str]] = {
    "operations": ("batch", "started_at"),
    "pack_runs": ("batch", "packed_at"),
    "readings": ("batch", "measured_at"),
    "transfers": ("from_batch", "moved_at"),
}
_EARLY = np.timedelta64(2, "D")
"""A vessel is made ready up to this long before its brew."""


def before_brewing(records: Mapping[str, pd.DataFrame]) -> tuple[Problem, ...]:
    """Return a note for each sheet with records dated before their batch was brewed.

    A number that is used again next year names an earlier brew as well, which may be on record: so it is a note.

    Parameters
    ----------
    records : mapping of str to DataFrame
        The records of one intake, by kind.
    """
    brewed = records["batches"].dropna(subset=["brewed_on"]).groupby("batch")["brewed_on"].min()
    if brewed.empty:
        return ()
    problems: list[Problem] = []
    for kind, (batch, moment) in _MOMENTS.items():
        frame = records[kind]
        if frame.empty:
            continue
        early = (frame[moment] < frame[batch].map(brewed) - _EARLY).to_numpy()
        told = frame.loc[early, ["file", "sheet", "source_row", batch]]
        for (file, sheet), rows in told.groupby(["file", "sheet"], observed=True, sort=False):
            problems.append(_note(kind, str(file), str(sheet), rows, batch))
    return tuple(problems)


def _note(kind: str, file: str, sheet: str, rows: pd.DataFrame, batch: str) -> Problem:
    first = rows.iloc[0]
    label = kinds.KINDS[kind].label.lower()
    return Problem(
        "before-brewing",
        f"Rows of {label} dated before their batch was brewed: {len(rows):,}; the first names batch {first[batch]}.",
        "Correct the date or the batch, unless the number was used for an earlier brew too.",
        Severity.NOTE, file, sheet, int(first["source_row"]), batch, str(first[batch]),
    )  # fmt: skip
