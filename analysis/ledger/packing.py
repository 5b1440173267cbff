"""How is a frame of records made ready to be compared and written?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.hashing import number_hashes, text_hashes
from analysis.records import kinds

__all__ = ["NO_MOMENT", "Packed", "PackedColumn", "pack", "pack_column", "pack_rows", "stack"]

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

    def take(self, rows: Indices) -> PackedColumn:
        """Return the column with those rows only, and no more words than they need."""
        values = self.values[rows]
        if self.words is None or len(self.words) <= len(values):
            return PackedColumn(self.name, values, self.words)
        used = np.unique(values[values >= 0]).astype(np.int64)
        codes = np.where(values < 0, -1, np.searchsorted(used, values)).astype(np.int64)
        return PackedColumn(self.name, codes, np.array([*self.words[used], None], dtype=object))

    def plain(self, rows: slice) -> npt.NDArray[Any]:
        """Return the rows' values as a database takes them, None for a blank, shape (rows,)."""
        part = PackedColumn(self.name, self.values[rows], self.words)
        if part.words is not None:
            return np.asarray(part.words[part.values.astype(np.int64, copy=False)])
        blank = part.blank
        if not blank.any():
            return part.values
        values = part.values.astype(object)
        values[blank] = None
        return values


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

    def on_sheets(self, numbers: Indices) -> Packed:
        """Return the rows with each sheet's number in place of its place among ``numbers``."""
        return replace(self, sheet=numbers[self.sheet])


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


def pack_rows(kind: kinds.Kind, columns: Mapping[str, Sequence[Any]]) -> Packed:
    """Return rows that were read from a ledger's table as plain arrays.

    Parameters
    ----------
    kind : Kind
        The kind of record.
    columns : mapping of str to sequence, shape (n,)
        The kind's columns and ``extra``, moments as microseconds, ``sheet`` and ``source_row``.
    """
    packed = [_packed_cells(column.name, column.type, columns[column.name]) for column in kind.columns]
    packed.append(_packed_cells("extra", "text", columns["extra"]))
    sheet, source_row = (np.array(columns[name], dtype=np.int64) for name in ("sheet", "source_row"))
    return Packed(kind, tuple(packed), sheet, source_row)


def _packed_cells(name: str, type: str, cells: Sequence[Any]) -> PackedColumn:
    if type in _NUMBERS:
        return PackedColumn(name, np.array(cells, dtype=np.float64))
    if type in _MOMENTS:
        return PackedColumn(name, np.array([NO_MOMENT if cell is None else cell for cell in cells], dtype=np.int64))
    codes, found = pd.factorize(np.array([*cells, None], dtype=object)[:-1])
    return PackedColumn(name, codes.astype(np.int64, copy=False), np.array([*found, None], dtype=object))


def stack(parts: Sequence[Packed]) -> Packed:
    """Return the rows of every part, one after the other."""
    columns = tuple(_stacked(columns) for columns in zip(*(part.columns for part in parts), strict=True))
    sheet = np.concatenate([part.sheet for part in parts])
    return Packed(parts[0].kind, columns, sheet, np.concatenate([part.source_row for part in parts]))


def _stacked(parts: Sequence[PackedColumn]) -> PackedColumn:
    """Return one column after the other; the words of each keep their places behind those of the one before."""
    words, codes, known = [], [], 0
    for part in parts:
        if part.words is None:
            return PackedColumn(part.name, np.concatenate([column.values for column in parts]))
        codes.append(np.where(part.values < 0, -1, part.values + known).astype(np.int64))
        words.append(part.words[:-1])
        known += len(part.words) - 1
    return PackedColumn(parts[0].name, np.concatenate(codes), np.concatenate([*words, np.array([None], dtype=object)]))
