"""What do rejected cells hold, with what the rest of their sheet told of them?

A rejected row is mended and taken in without the rows that it came with. What those told goes with it: the order of day
and month, the decimal sign, the unit of numbers without one, what a blank stands for.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from analysis.records.cells import EMPTY, MOMENT, NUMBER, TEXT, RawColumn
from analysis.records.context import Context
from analysis.records.meaning import wide_columns
from analysis.records.parsed import State
from analysis.records.parsing import parse_numbers
from analysis.records.scales import Deduced, deduced_unit

__all__ = ["as_read"]

Flags = npt.NDArray[np.bool_]
Rows = npt.NDArray[np.intp]


def as_read(context: Context, j: int, rows: Rows) -> RawColumn:
    """Return some rows of column ``j``, written so that they read alone as they did among the others.

    A date that was read stands as a date, a number as a number, one of which the unit was told by the others with its
    unit; a blank that other rows of its run filled stands filled.
    """
    column = context.table.columns[j].take(rows)
    if j in context.filled:
        return _filled(column, context.filled[j].take(rows))
    if j in context.settled:
        return _dated(column, context.settled[j][rows])
    if j not in _of_numbers(context):
        return column
    column = _numbered(column, context.decimal)
    for deduced in context.deduced.get(j, ()):
        column = _with_unit(column, deduced, deduced.rows[rows])
    return column


def _of_numbers(context: Context) -> set[int]:
    """Return the columns that hold numbers of ours."""
    numeric = {column.name for column in wide_columns(context.kind) if column.type in ("number", "count")}
    return {
        m.column
        for m in context.recognised.meanings
        if m.role in ("measure", "attribute") or (m.role == "kept" and m.name in numeric)
    }


def _dated(column: RawColumn, moment: npt.NDArray[np.datetime64]) -> RawColumn:
    is_told = np.isin(column.tag, (TEXT, EMPTY)) & ~np.isnat(moment)
    tag = np.where(is_told, np.int8(MOMENT), column.tag)
    code = np.where(is_told, np.int32(-1), column.code)
    return RawColumn(
        tag, code, column.words, column.number, np.where(tag == MOMENT, moment, np.datetime64("NaT", "us"))
    )


def _numbered(column: RawColumn, decimal: str | None) -> RawColumn:
    """Return a column with its plain numbers as numbers: alone, "1.062" could be a thousand and sixty-two."""
    read = parse_numbers(column, decimal)
    is_plain = (column.tag == TEXT) & (read.state == State.READ) & (read.sign == 0) & (read.unit_code < 0)
    is_plain &= ~read.is_approximate
    if not is_plain.any():
        return column
    tag = np.where(is_plain, np.int8(NUMBER), column.tag)
    code = np.where(is_plain, np.int32(-1), column.code)
    return RawColumn(tag, code, column.words, np.where(is_plain, read.value, column.number), column.moment)


def _with_unit(column: RawColumn, deduced: Deduced, rows: Flags) -> RawColumn:
    """Write the unit into cells of which the unit was told by all the sheet's numbers, where their own do not tell."""
    read = parse_numbers(column)
    bare = rows & (read.state == State.READ) & (read.unit_code < 0)
    if not bare.any() or deduced_unit(deduced.quantity, read.value[bare]) == deduced.unit:
        return column
    texts = {row: f"{column.text_at(row)} {deduced.unit.name}" for row in np.flatnonzero(bare).tolist()}
    return _written(column, texts)


def _filled(column: RawColumn, told: pd.Series) -> RawColumn:
    blank = np.flatnonzero((column.tag == EMPTY) & told.notna().to_numpy())
    return _written(column, {row: str(told.iloc[row]) for row in blank.tolist()})


def _written(column: RawColumn, texts: dict[int, str]) -> RawColumn:
    """Return a column with some of its cells written anew, as text."""
    if not texts:
        return column
    rows = list(texts)
    tag, code, number, moment = column.tag.copy(), column.code.copy(), column.number.copy(), column.moment.copy()
    tag[rows], number[rows], moment[rows] = np.int8(TEXT), np.nan, np.datetime64("NaT", "us")
    code[rows] = len(column.words) + np.arange(len(rows))
    words = pa.concat_arrays([column.words, pa.array(list(texts.values()), pa.string())])
    return RawColumn(tag, code, words, number, moment)
