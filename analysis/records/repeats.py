"""Which rows of a sheet say again what another row says, and are repeated readings other samples or slips?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.records import kinds
from analysis.records.cells import RawColumn
from analysis.records.context import Context, Values
from analysis.records.occasions import occasions

__all__ = ["identities", "ignore_repeats", "row_marks", "should_number"]

Marks = npt.NDArray[np.uint64]
Flags = npt.NDArray[np.bool_]

_ODD = np.uint64(0x9E3779B97F4A7C15)
_ROUND = np.uint64(0xBF58476D1CE4E5B9)
_TOLD = 10


def ignore_repeats(context: Context) -> None:
    """Ignore the rows that are the same as an earlier row in every cell, and say where they stand."""
    rows = np.flatnonzero(context.active & ~context.faults.rejected)
    marks = row_marks(context.table.columns)[rows]
    again = np.zeros(len(context.table), dtype=bool)
    again[rows[pd.Series(marks).duplicated().to_numpy()]] = True
    count = context.faults.ignore(again, "repeated")
    if count:
        told = (
            "A row that repeats an earlier row in every cell was ignored"
            if count == 1
            else f"Rows that repeat an earlier row in every cell were ignored ({count:,})"
        )
        places = [str(row + context.table.first_row) for row in np.flatnonzero(again)[:_TOLD].tolist()]
        more = ", …" if count > _TOLD else ""
        context.faults.note(
            "row-repeated",
            f"{told}: row {', '.join(places)}{more}.",
            "Nothing to do if it was typed twice; else write what tells the rows apart, such as a sample's number.",
        )


def row_marks(columns: tuple[RawColumn, ...]) -> Marks:
    """Return a number for each row that is the same for rows alike in every cell, shape (n,).

    Rows that differ share a number once in 10¹³ among a million.
    """
    total = np.zeros(len(columns[0]) if columns else 0, dtype=np.uint64)
    for column in columns:
        total = _mixed(total * _ODD + _cell_marks(column))
    return total


def _cell_marks(column: RawColumn) -> Marks:
    """Return a number for each cell; a column's words stand in it once each, so that their codes will do."""
    marks = (column.code + 1).astype(np.uint64)
    if column.number.strides != (0,):
        marks ^= np.where(np.isnan(column.number), 0.0, column.number).view(np.uint64)
    if column.moment.strides != (0,):
        marks ^= column.moment.astype("datetime64[us]").view(np.uint64)
    return marks


def _mixed(marks: Marks) -> Marks:
    marks = marks ^ (marks >> np.uint64(31))
    marks = marks * _ROUND
    return np.asarray(marks ^ (marks >> np.uint64(29)))


def identities(kind: str, frame: pd.DataFrame) -> Marks:
    """Return a number for each record that is the same for records about the same thing, shape (n,)."""
    total = np.zeros(len(frame), dtype=np.uint64)
    for name in kinds.KINDS[kind].identity:
        total = _mixed(total * _ODD + _value_marks(frame[name]))
    occasion = kinds.KINDS[kind].occasion
    if not occasion:
        return total
    again = np.flatnonzero(pd.Series(total).duplicated(keep=False).to_numpy())
    if len(again):
        group = pd.factorize(total[again])[0].astype(np.int64)
        use = occasions(group, frame[occasion].iloc[again].to_numpy(dtype="datetime64[us]"))
        total[again] = _mixed(total[again] * _ODD + use.astype(np.uint64))
    return total


def _value_marks(values: pd.Series) -> Marks:
    if values.dtype.kind == "f":
        return np.where(values.isna(), 0.0, values).view(np.uint64)
    if values.dtype.kind == "M":
        return values.to_numpy(dtype="datetime64[us]").view(np.uint64)
    return (pd.factorize(values)[0] + 1).astype(np.uint64)


def should_number(context: Context, values: Values) -> bool:
    """Tell whether the readings of a long sheet that agree on everything else are several samples.

    They are where nothing on the sheet could tell samples apart and most readings of runs have others beside them: one
    slip does not look like that.
    """
    if any(context.recognised.kept(name) for name in ("sample", "replicate")):
        return False
    rows = np.flatnonzero(context.active & ~context.faults.rejected & values.present("run"))
    if rows.size == 0:
        return False
    told = ("batch", "run", "stage", "quantity")
    columns: list[pd.Series] = [values.texts[name].take(rows) for name in told if name in values.texts]
    if "measured_at" in values.moments:
        columns.append(pd.Series(values.moments["measured_at"][rows]))
    total = np.zeros(rows.size, dtype=np.uint64)
    for column in columns:
        total = _mixed(total * _ODD + _value_marks(column))
    alike = pd.Series(total).duplicated(keep=False)
    return bool(alike.mean() > 0.5)
