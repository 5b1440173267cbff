"""How do the values of accepted rows become the frames that the ledger takes?"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa

from analysis.records import kinds
from analysis.records.cells import as_text_series
from analysis.records.context import Values

__all__ = ["blank_text", "empty_frame", "frame_of", "join_frames"]

Rows = npt.NDArray[np.intp]


def blank_text(n: int) -> pd.Series:
    """Return a column of missing texts; dtype ``str``."""
    return as_text_series(pa.nulls(n, pa.large_string()))


def frame_of(
    kind: str, values: Values, rows: Rows | None, extra: pd.Series, place: tuple[str, str], source_row: Rows
) -> pd.DataFrame:
    """Return the frame of some records of one kind.

    Parameters
    ----------
    kind : str
    values : Values
    rows : array of int, shape (m,), or None
        The rows of ``values`` to take; None for all.
    extra : Series, shape (m,)
        The further cells of those rows.
    place : (str, str)
        The file and the sheet.
    source_row : array of int, shape (m,)
        Where each stands on the sheet, from 1.
    """
    n = len(source_row)
    take = None if rows is None or len(rows) == values.n else rows
    columns: dict[str, object] = {c.name: _column(c, values, take, n) for c in kinds.KINDS[kind].columns}
    columns["extra"] = extra
    for name, text in zip(("file", "sheet"), place, strict=True):
        columns[name] = pd.Categorical.from_codes(np.zeros(n, dtype=np.int8), categories=pd.Index([text], dtype="str"))
    columns["source_row"] = source_row.astype(np.int32)
    return pd.DataFrame(columns, copy=False)


def _column(column: kinds.Column, values: Values, take: Rows | None, n: int) -> object:
    if column.type in ("number", "count"):
        number = values.numbers.get(column.name)
        return np.full(n, np.nan) if number is None else number if take is None else number[take]
    if column.type in ("date", "moment"):
        moment = values.moments.get(column.name)
        return np.full(n, np.datetime64("NaT", "us")) if moment is None else moment if take is None else moment[take]
    text = values.texts.get(column.name)
    if text is None:
        return blank_text(n)
    return text if take is None else text.take(take).reset_index(drop=True)


def empty_frame(kind: str) -> pd.DataFrame:
    """Return the frame of a kind with no rows."""
    return frame_of(kind, Values(0), None, blank_text(0), ("", ""), np.zeros(0, dtype=np.intp))


def join_frames(kind: str, frames: list[pd.DataFrame]) -> pd.DataFrame:
    """Return frames of one kind as one, with ``file`` and ``sheet`` as categories."""
    if not frames:
        return empty_frame(kind)
    if len(frames) == 1:
        return frames[0]
    categories: Mapping[str, pd.Index] = {
        name: pd.Index(dict.fromkeys(c for frame in frames for c in frame[name].cat.categories), dtype="str")
        for name in ("file", "sheet")
    }
    aligned = [frame.assign(**{n: frame[n].cat.set_categories(c) for n, c in categories.items()}) for frame in frames]
    return pd.concat(aligned, ignore_index=True)
