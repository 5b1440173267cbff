"""What stood in each cell of a sheet, before anyone asked what it means?

A column keeps its texts once each: ``code`` says which of ``words`` a cell holds. A million readings hold few different
batches, meters and units, so that whatever is read out of a text is read once and not a million times.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from analysis.records.workbook_child import BOOL, CLOCK, EMPTY, ERROR, MOMENT, NUMBER, TEXT

__all__ = [
    "BOOL",
    "CLOCK",
    "EMPTY",
    "ERROR",
    "MOMENT",
    "NUMBER",
    "TEXT",
    "RawColumn",
    "RawSheet",
    "as_text_series",
    "clock_text",
    "moment_text",
    "number_text",
]

Rows = npt.NDArray[np.intp]

# Spaces of every width, the byte-order mark, and what a web page leaves behind.
_BLANKS = " \t\r\n\v\f\u00a0\u1680\u2002\u2003\u2007\u2009\u200a\u200b\u202f\u3000\ufeff"
_NO_NUMBER = np.float64("nan")
_NO_MOMENT = np.datetime64("NaT", "us")


@dataclass(frozen=True, eq=False)
class RawColumn:
    """One column of a sheet, or of some of its rows; every array has shape (n,), one entry a row.

    ``tag`` says what each cell natively is: EMPTY, TEXT, NUMBER, MOMENT (a date, with or without a time), CLOCK (a time
    of day or a duration), BOOL or ERROR. ``code`` is the place in ``words`` of a TEXT or ERROR cell and −1 elsewhere;
    ``words`` (an Arrow string array) has no spaces at its ends. ``number`` is NaN but for NUMBER, CLOCK [s] and BOOL
    (1 or 0); ``moment`` is NaT but for MOMENT.
    """

    tag: npt.NDArray[np.int8]
    code: npt.NDArray[np.int32]
    words: Any
    number: npt.NDArray[np.float64]
    moment: npt.NDArray[np.datetime64]

    def __post_init__(self) -> None:
        lengths = {len(self.tag), len(self.code), len(self.number), len(self.moment)}
        if len(lengths) > 1:
            raise ValueError(f"RawColumn: every array must have the same length, got {sorted(lengths)}")

    def __len__(self) -> int:
        return len(self.tag)

    @cached_property
    def text(self) -> pd.Series:
        """Every cell as a person reads it, ``""`` where it is empty; shape (n,), dtype ``str``."""
        code, words = self.as_words()
        if bool((code >= 0).all()):
            return as_text_series(words.take(pa.array(code)))
        return as_text_series(words.take(pa.array(code, mask=code < 0)).fill_null(""))

    def as_words(self) -> tuple[npt.NDArray[np.int32], Any]:
        """Return the column as if all of it were text: which word each cell holds (−1 for none), and the words."""
        code, words = self.code, [self.words]
        for tag, held, form in self._natives():
            rows = np.flatnonzero(self.tag == tag)
            values, place = np.unique(held[rows], return_inverse=True)
            if len(rows):
                code = code.copy() if code is self.code else code
                code[rows] = place.ravel() + sum(map(len, words))
                words.append(pa.array([form(value) for value in values], pa.string()))
        return code, pa.concat_arrays(words) if len(words) > 1 else self.words

    def texts(self, rows: Rows | Sequence[int]) -> list[str]:
        """Return the cells of a few rows, counted from 0, as a person reads them."""
        return [self.text_at(int(row)) for row in rows]

    def text_at(self, row: int) -> str:
        """Return one cell, its row counted from 0, as a person reads it; ``""`` where it is empty."""
        if self.code[row] >= 0:
            return str(self.words[int(self.code[row])])
        for tag, held, form in self._natives():
            if self.tag[row] == tag:
                return form(held[row])
        return ""

    def _natives(self) -> tuple[tuple[int, npt.NDArray[Any], Callable[[Any], str]], ...]:
        """Return the native kinds of cell, the array that holds each, and how a person reads it."""
        return (
            (NUMBER, self.number, number_text),
            (MOMENT, self.moment, moment_text),
            (CLOCK, self.number, clock_text),
            (BOOL, self.number, lambda held: "TRUE" if held else "FALSE"),
        )

    def take(self, rows: Rows | slice) -> RawColumn:
        """Return the column of some rows, with only the words that they use.

        Parameters
        ----------
        rows : array of int, shape (m,), or slice
            Rows counted from 0.
        """
        code = self.code[rows]
        used = np.bincount(code[code >= 0], minlength=len(self.words)) > 0
        words = self.words
        if not used.all():
            place = np.where(used, np.cumsum(used) - 1, -1).astype(np.int32)
            code = np.where(code >= 0, place[code], np.int32(-1)) if len(place) else code
            words = words.take(pa.array(np.flatnonzero(used)))
        return RawColumn(self.tag[rows], code, words, self.number[rows], self.moment[rows])

    @classmethod
    def of_cells(
        cls,
        tag: npt.NDArray[np.int8],
        code: npt.NDArray[np.int32],
        words: Any,
        number: npt.NDArray[np.float64] | None = None,
        moment: npt.NDArray[np.datetime64] | None = None,
    ) -> RawColumn:
        """Return a column as it was read: spaces at the ends of words go, a word of spaces alone is an empty cell."""
        code, words = _trimmed(code, words)
        is_word = (tag == TEXT) | (tag == ERROR)
        if bool((is_word & (code < 0)).any()):
            tag = np.where(is_word & (code < 0), np.int8(EMPTY), tag)
        n = len(tag)
        return cls(
            tag,
            code,
            words,
            np.broadcast_to(_NO_NUMBER, n) if number is None else number,
            np.broadcast_to(_NO_MOMENT, n) if moment is None else moment,
        )

    @classmethod
    def of_words(cls, code: npt.NDArray[np.int32], words: Any) -> RawColumn:
        """Return a column that holds text alone; ``code`` is −1 where a cell is empty."""
        n = len(code)
        tag = np.where(code >= 0, np.int8(TEXT), np.int8(EMPTY))
        return cls(tag, code, words, np.broadcast_to(_NO_NUMBER, n), np.broadcast_to(_NO_MOMENT, n))

    @classmethod
    def of_texts(cls, texts: Sequence[str | None]) -> RawColumn:
        """Return a column of those texts; ``None`` and what is only spaces is empty."""
        stripped = [None if t is None or not t.strip() else t.strip() for t in texts]
        encoded = pa.array(stripped, pa.string()).dictionary_encode()
        return cls.of_words(encoded.indices.fill_null(-1).to_numpy(), encoded.dictionary)


@dataclass(frozen=True, eq=False)
class RawSheet:
    """One sheet as it stands, from its row 1 and column A on.

    ``merged`` holds the merged ranges as (first row, first column, last row, last column), counted from 0. ``decimal``
    is the decimal sign that the sheet's texts agree on, or that a text file's separator implies; None where nothing
    tells. ``encoding`` and ``separator`` are those of a text file.
    """

    file: str
    name: str
    columns: tuple[RawColumn, ...]
    n_rows: int
    merged: tuple[tuple[int, int, int, int], ...] = ()
    hidden: bool = False
    decimal: str | None = None
    encoding: str | None = None
    separator: str | None = None

    def row_texts(self, row: int) -> list[str]:
        """Return the texts of one row, counted from 0."""
        return [column.text_at(row) for column in self.columns]

    def tags(self, rows: slice = slice(None)) -> npt.NDArray[np.int8]:
        """Return the tags of some rows as a table, shape (rows, columns)."""
        if not self.columns:
            return np.zeros((0, 0), dtype=np.int8)
        return np.column_stack([column.tag[rows] for column in self.columns])


def _trimmed(code: npt.NDArray[np.int32], words: Any) -> tuple[npt.NDArray[np.int32], Any]:
    trimmed = pc.utf8_trim(words, characters=_BLANKS)
    if trimmed.equals(words) and not pc.any(pc.equal(words, "")).as_py():
        return code, words
    again = trimmed.dictionary_encode()
    place = again.indices.to_numpy()
    words = again.dictionary
    nothing = words.index("").as_py()
    if nothing >= 0:
        kept = np.arange(len(words)) != nothing
        place = np.where(place == nothing, -1, place - (place > nothing))
        words = words.filter(pa.array(kept))
    return np.where(code >= 0, place[code], -1).astype(np.int32), words


def as_text_series(texts: Any) -> pd.Series:
    """Return an Arrow string array as a Series of dtype ``str``; nulls stay missing."""
    large = texts.cast(pa.large_string())
    return pd.Series(pd.array(large, dtype="str"))


def number_text(number: float) -> str:
    """Return a number as a spreadsheet shows it: fifteen digits, no trailing zeros.

    >>> number_text(2417.0), number_text(0.1 + 0.2)
    ('2417', '0.3')
    """
    if number.is_integer() and abs(number) < 1e15:
        return str(int(number))
    return f"{number:.15g}"


def moment_text(moment: np.datetime64) -> str:
    """Return a moment as ``2026-03-04``, or ``2026-03-04 14:30`` where it has a time of day."""
    day, _, clock = str(np.datetime_as_string(moment, unit="s")).partition("T")
    clock = clock.removesuffix(":00")
    return day if clock == "00:00" else f"{day} {clock}"


def clock_text(seconds: float) -> str:
    """Return a time of day or a duration [s] as ``14:30`` or ``26:05:30``."""
    whole = round(seconds)
    hours, rest = divmod(abs(whole), 3600)
    text = f"{'-' if whole < 0 else ''}{hours:02d}:{rest // 60:02d}"
    return f"{text}:{rest % 60:02d}" if rest % 60 else text
