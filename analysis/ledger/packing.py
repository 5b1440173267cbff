"""How is a frame of records made ready to be compared and written?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.hashing import number_hashes, text_hashes
from analysis.records import kinds

__all__ = ["NO_MOMENT", "Packed", "PackedColumn", "pack", "pack_column"]

NO_MOMENT = np.iinfo(np.int64).min
_NUMBERS = ("number", "count")
_MOMENTS = ("date", "moment")

Indices = npt.NDArray[np.int64]
Hashes = npt.NDArray[np.uint64]


@dataclass(frozen=True)
class PackedColumn:
    """One column as plain arrays.

    Text is ``words[codes]``, where the last word is None and code -1 stands for a blank; numbers are floats with NaN
    for a blank; moments are microseconds since 1970 with ``NO_MOMENT`` for a blank.
    """

    name: str
    values: npt.NDArray[np.float64] | npt.NDArray[np.int64]
    words: npt.NDArray[np.object_] | None = None

    def __len__(self) -> int:
        return len(self.values)

    @property
    def blank(self) -> npt.NDArray[np.bool_]:
        """Where the column has no value, shape (n,)."""
        if self.words is not None:
            return np.asarray(self.values < 0)
        return np.asarray(np.isnan(self.values) if self.values.dtype.kind == "f" else self.values == NO_MOMENT)

    def hashes(self) -> Hashes:
        """Return a hash of each value, 0 for a blank, shape (n,)."""
        if self.words is None:
            return np.where(self.blank, np.uint64(0), number_hashes(self.values))
        return np.append(text_hashes(self.words[:-1]), np.uint64(0))[self.values.astype(np.int64, copy=False)]

    def take(self, rows: slice | Indices) -> PackedColumn:
        """Return the column with those rows only."""
        return PackedColumn(self.name, self.values[rows], self.words)

    def plain(self, rows: slice) -> list[str | float | int | None]:
        """Return the rows' values as Python has them, None for a blank."""
        part = self.take(rows)
        if part.words is not None:
            return list(part.words[part.values.astype(np.int64, copy=False)].tolist())
        blank = part.blank
        if not blank.any():
            return list(part.values.tolist())
        values = part.values.astype(object)
        values[blank] = None
        return list(values.tolist())


@dataclass(frozen=True)
class Packed:
    """The rows of one kind: its columns and ``extra``, the sheet that each row stands on, and its row there.

    ``sheet`` counts through the sheets that the caller named, -1 where it named none of that file and name.
    """

    kind: kinds.Kind
    columns: tuple[PackedColumn, ...]
    sheet: Indices
    source_row: Indices

    def __len__(self) -> int:
        return len(self.sheet)

    def column(self, name: str) -> PackedColumn:
        """Return the column of that name."""
        return next(column for column in self.columns if column.name == name)

    def take(self, rows: Indices) -> Packed:
        """Return those rows only."""
        columns = tuple(column.take(rows) for column in self.columns)
        return Packed(self.kind, columns, self.sheet[rows], self.source_row[rows])


def pack_column(name: str, type: str, values: pd.Series) -> PackedColumn:
    """Return a column of a frame as plain arrays.

    Parameters
    ----------
    name : str
        The column's kept name.
    type : str
        A column type of ``records.kinds``; ``"text"`` for ``extra``.
    values : Series, shape (n,)
        The column's values.
    """
    if type in _NUMBERS:
        return PackedColumn(name, values.to_numpy(dtype=np.float64, na_value=np.nan))
    if type in _MOMENTS:
        return PackedColumn(name, values.to_numpy(dtype="datetime64[us]").view(np.int64))
    return _text_column(name, values)


def _text_column(name: str, values: pd.Series) -> PackedColumn:
    """Count an empty text as a blank, and leave out the null characters that PostgreSQL refuses."""
    found_codes, found = pd.factorize(values)
    codes = found_codes.astype(np.int64, copy=False)
    words = np.array([*found, None], dtype=object)
    for place in [i for i, word in enumerate(words[:-1]) if not word or "\x00" in word]:
        words[place] = words[place].replace("\x00", "")
        if not words[place]:
            codes = np.where(codes == place, -1, codes)
    return PackedColumn(name, codes, words)


def pack(kind: kinds.Kind, frame: pd.DataFrame, sheets: Sequence[tuple[str, str]]) -> Packed:
    """Return a frame of accepted records as plain arrays.

    Parameters
    ----------
    kind : Kind
        The kind of record.
    frame : DataFrame
        The kind's columns, ``extra``, ``file``, ``sheet`` and ``source_row``.
    sheets : sequence of (str, str)
        The file and the name of every sheet.

    Raises
    ------
    ValueError
        If the frame lacks a column.
    """
    lacking = [n for n in (*kind.names, "extra", "file", "sheet", "source_row") if n not in frame.columns]
    if lacking:
        raise ValueError(f"pack: frame must have every column of {kind.name}, and lacks {', '.join(lacking)}")
    columns = [pack_column(column.name, column.type, frame[column.name]) for column in kind.columns]
    columns.append(pack_column("extra", "text", frame["extra"]))
    source_row = frame["source_row"].to_numpy(dtype=np.int64)
    return Packed(kind, tuple(columns), _sheet_numbers(frame, sheets), source_row)


def _sheet_numbers(frame: pd.DataFrame, sheets: Sequence[tuple[str, str]]) -> Indices:
    """Return which of the sheets each row stands on, -1 for none of them."""
    file_codes, files = pd.factorize(frame["file"])
    sheet_codes, names = pd.factorize(frame["sheet"])
    numbers: Mapping[tuple[str, str], int] = {sheet: number for number, sheet in enumerate(sheets)}
    grid = np.full((len(files) + 1, len(names) + 1), -1, dtype=np.int64)
    for i, file in enumerate(files):
        for j, name in enumerate(names):
            grid[i, j] = numbers.get((str(file), str(name)), -1)
    return np.asarray(grid[file_codes, sheet_codes])
