"""What else stood in a row, in columns that are none of ours?

The cells of further columns are kept with their row as one JSON object of header and cell text. A table holds few
different combinations of them, or else a text is built column by column; either way without a step for each row.
"""

from __future__ import annotations

import json
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.cells import EMPTY, NUMBER, TEXT, RawColumn, as_text_series
from analysis.records.context import Context
from analysis.records.meaning import Meaning

__all__ = ["extra_of", "extra_texts", "varies_within"]

Rows = npt.NDArray[np.intp]
_TEXT = pa.large_string()


def extra_of(context: Context, rows: Rows, meanings: Sequence[Meaning]) -> pd.Series:
    """Return the JSON text of the further cells of some rows, missing where all are empty; shape (rows,)."""
    parts = [part for m in meanings if (part := _parts(m.header, context.cells(m).take(rows))) is not None]
    return extra_texts(parts, len(rows))


def extra_texts(parts: Sequence[pa.Array], n: int) -> pd.Series:
    """Return JSON objects made of parts such as ``"By": "AB"``, each an Arrow string array with null for none."""
    if not parts:
        return as_text_series(pa.nulls(n, pa.string()))
    open_, comma, close, none = (pa.scalar(text, _TEXT) for text in ("{", ", ", "}", ""))
    joined = pc.binary_join_element_wise(*[part.cast(_TEXT) for part in parts], comma, null_handling="skip")
    full = pc.binary_join_element_wise(open_, joined, close, none)
    return as_text_series(pc.if_else(pc.equal(joined, none), pa.scalar(None, _TEXT), full))


def _parts(header: str, column: RawColumn) -> pa.Array | None:
    """Return ``"header": "cell"`` for each cell, null where it is empty; None where all are."""
    code, texts = _coded(column)
    if not texts:
        return None
    key = json.dumps(header, ensure_ascii=False)
    words = pa.array([f"{key}: {json.dumps(text, ensure_ascii=False)}" for text in texts], pa.string())
    return words.take(pa.array(np.where(code < 0, 0, code), mask=code < 0))


def _coded(column: RawColumn) -> tuple[npt.NDArray[np.int64], list[str]]:
    """Return each cell's text as a code, −1 where it is empty, and the texts."""
    code = column.code.astype(np.int64)
    texts = column.words.to_pylist()
    others = (column.tag != TEXT) & (column.tag != EMPTY) & (column.code < 0)
    numbers = np.flatnonzero(others & (column.tag == NUMBER))
    if numbers.size:
        _, first, inverse = np.unique(column.number[numbers], return_index=True, return_inverse=True)
        code[numbers] = inverse + len(texts)
        texts = [*texts, *column.texts(numbers[first])]
        others[numbers] = False
    rest = np.flatnonzero(others)
    if rest.size:
        code[rest] = np.arange(rest.size) + len(texts)
        texts = [*texts, *column.texts(rest)]
    return code, texts


def varies_within(context: Context, meaning: Meaning, rows: Rows, group: npt.NDArray[np.int64]) -> bool:
    """Tell whether a column's filled cells differ within a group of rows (a can's own figure, not its run's)."""
    code, _ = _coded(context.cells(meaning).take(rows))
    filled = code >= 0
    pairs = np.unique(np.column_stack([group[filled], code[filled]]), axis=0)
    return bool(len(pairs) > len(np.unique(pairs[:, 0])))
