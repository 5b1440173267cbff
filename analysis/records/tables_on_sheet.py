"""Does a sheet hold more than one table, beside or below each other?

Tables beside each other are parted by a blank column, and either side is a kind of record by itself: batches on the
left, runs on the right. Read as one, a run would get the batch that happens to stand in its row.

A row of headers that are known, behind a blank row and with other words than the headers above, begins a table of its
own: finings below the rouses, tastings below the cans. Each is read as a sheet by itself, with the rows where they
stand. The same headers again (a month below a month) go on with their table.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from analysis.records.answers import Answers
from analysis.records.cells import EMPTY, TEXT, RawColumn, RawSheet
from analysis.records.headers import header_key
from analysis.records.recognise import is_known_header, recognise

__all__ = ["tables_of"]

_FEWEST = 3
_MOST = 20
_MOST_LOOKED_AT = 500  # blank rows of a sheet behind which headers are looked for
_FIGURES = re.compile(r"[<>~]?\s*[-+]?\d[\d.,:/ -]*")


def tables_of(sheet: RawSheet) -> tuple[RawSheet, ...]:
    """Return the tables of a sheet: the sheet itself where it has one, else its parts, named "Cellar, table 2"."""
    parts = [part for side in _beside(sheet) for part in _below(side)]
    names = [sheet.name, *(f"{sheet.name}, table {number}" for number in range(2, len(parts) + 1))]
    return tuple(
        part if part.name == name else replace(part, name=name) for part, name in zip(parts, names, strict=True)
    )


def _beside(sheet: RawSheet) -> list[RawSheet]:
    """Return the sides of a sheet, left to right, where each is a kind of record by itself; else the sheet."""
    filled = [bool((column.tag != EMPTY).any()) for column in sheet.columns]
    ends = [j for j in range(1, len(filled)) if filled[j - 1] and not filled[j] and any(filled[j:])]
    if not ends or len(ends) > _MOST:
        return [sheet]
    starts = [0, *(next(k for k in range(end, len(filled)) if filled[k]) for end in ends)]
    sides = [_side(sheet, *span) for span in zip(starts, [*ends, len(filled)], strict=True)]
    alone = [recognise(side, None, Answers()).kind for side in sides]
    return sides if all(kind is not None for kind in alone) else [sheet]


def _side(sheet: RawSheet, first: int, last: int) -> RawSheet:
    """Return the columns from ``first`` to before ``last``, each where it stands on the sheet; the others are blank."""
    columns = tuple(
        column if first <= j < last else _blanked(column, len(column)) for j, column in enumerate(sheet.columns)
    )
    merged = tuple(range_ for range_ in sheet.merged if first <= range_[1] and range_[3] < last)
    return replace(sheet, columns=columns, merged=merged)


def _below(sheet: RawSheet) -> tuple[RawSheet, ...]:
    """Return the tables below each other."""
    starts = _starts(sheet)
    spans = zip([0, *starts], [*starts, sheet.n_rows], strict=True)
    return tuple(_part(sheet, start, end) for start, end in spans) if starts else (sheet,)


def _starts(sheet: RawSheet) -> list[int]:
    """Return the row in which each further table begins, a title right above its headers included."""
    filled = _filled(sheet)
    blank = np.flatnonzero(filled == 0)
    if not len(blank) or len(filled) == 0:
        return []
    headers = [row for row in _may_be_headers(sheet, filled) if _are_headers(sheet, row)]
    starts: list[int] = []
    above: list[Sequence[str]] = []
    for row in headers[: _MOST + 1]:
        texts = sheet.row_texts(row)
        begins = row - 1 if row > 0 and filled[row - 1] == 1 else row
        is_apart = begins > 0 and filled[begins - 1] == 0
        if above and is_apart and not any(_are_same(texts, other) for other in above):
            starts.append(begins)
        above.append(texts)
    return starts


def _filled(sheet: RawSheet) -> npt.NDArray[np.int32]:
    filled = np.zeros(sheet.n_rows, dtype=np.int32)
    for column in sheet.columns:
        filled += column.tag != EMPTY
    return filled


def _may_be_headers(sheet: RawSheet, filled: npt.NDArray[np.int32]) -> list[int]:
    """Return the rows of three words or more that stand at the top of what blank rows part, or below one cell there."""
    first = int(np.argmax(filled > 0))
    behind = np.flatnonzero((filled[:-1] <= 1) & (filled[1:] >= _FEWEST)) + 1
    rows = [row for row in (first, *behind[:_MOST_LOOKED_AT].tolist()) if filled[row] >= _FEWEST]
    return [row for row in dict.fromkeys(rows) if all(c.tag[row] in (TEXT, EMPTY) for c in sheet.columns)]


def _are_headers(sheet: RawSheet, row: int) -> bool:
    """Tell whether most words of a row stand over columns, and figures stand below them."""
    texts = [text for text in sheet.row_texts(row) if text]
    if any(_FIGURES.fullmatch(text) for text in texts) or row + 1 >= sheet.n_rows:
        return False
    known = sum(is_known_header(text) for text in texts)
    below = [column.text_at(row + 1) for column in sheet.columns if column.tag[row] != EMPTY]
    has_figures = any(re.search(r"\d", text) for text in below)
    return known >= _FEWEST and known * 5 >= len(texts) * 3 and has_figures


def _are_same(texts: Sequence[str], above: Sequence[str]) -> bool:
    """Tell whether headers are those of a table above once more."""
    pairs = [(a, b) for a, b in zip(texts, above, strict=True) if a]
    return sum(header_key(a) == header_key(b) for a, b in pairs) * 5 >= len(pairs) * 4


def _part(sheet: RawSheet, first: int, last: int) -> RawSheet:
    """Return the rows from ``first`` to before ``last``, each where it stands on the sheet."""
    columns = tuple(_blanked(column.take(slice(0, last)), first) for column in sheet.columns)
    merged = tuple(range_ for range_ in sheet.merged if first <= range_[0] and range_[2] < last)
    return replace(sheet, columns=columns, n_rows=last, merged=merged)


def _blanked(column: RawColumn, rows: int) -> RawColumn:
    if not rows:
        return column
    tag, code = column.tag.copy(), column.code.copy()
    number, moment = np.array(column.number), np.array(column.moment)
    tag[:rows], code[:rows], number[:rows], moment[:rows] = EMPTY, -1, np.nan, np.datetime64("NaT")
    return RawColumn(tag, code, column.words, number, moment)
