"""Which rows below the header row are records, and which are blank, totals, headers again, or remarks?"""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pyarrow.compute as pc

from analysis.records.cells import EMPTY, TEXT, RawColumn, RawSheet
from analysis.records.headers import header_key
from analysis.records.marks import EXAMPLE
from analysis.records.meaning import Meaning
from analysis.records.parsed import State
from analysis.records.parsing import parse_clocks, parse_moments, parse_numbers
from analysis.records.recognise import Recognised

__all__ = ["Table", "table_of"]

Flags = npt.NDArray[np.bool_]


_TOTAL = (
    r"^(?:(?:grand |sub[- ]?)?totals?|sum|averages?|avg|mean|median|min(?:imum)?|max(?:imum)?|st\.? ?dev\.?|std\.?"
    r"(?: ?dev)?"
    r"|standard deviation|range|count|n|r?sd|cv|%rsd|mittel(?:wert)?|durchschnitt|summe|gesamt|moyenne|somme)\b"
    r"[\s:.=]*(?:\(.*\)|of .*|for .*|[a-zµ/°% ]*)$"
    r"|\b(?:totals?|average)[:.]?$"
)
_DITTO = r"^(?:\"|''|”|“|″|〃|„|ditto|-\s*[\"”″]\s*-|[\"”]{2})$"
_SECTION = re.compile(
    r"(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?"
    r"|nov(?:ember)?|dec(?:ember)?)\.?(?: '?\d{2,4})?|(?:week|wk|kw|month|quarter) ?\d{1,2}(?: '?\d{2,4})?",
    re.IGNORECASE,
)
"""A cell alone in its row that parts months or weeks."""
_FEW = 2
_WORDED = ("quantity", "attribute", "operation", "style")


@dataclass(frozen=True, eq=False)
class Table:
    """The rows below a header row, arrays of shape (n,).

    ``first_row`` is where the first row stands on the sheet, from 1. ``columns`` are the sheet's, with merged cells and
    ditto marks filled from above; ``active`` marks the rows that are records; ``ignored`` counts the others by what
    they are.
    """

    first_row: int
    columns: tuple[RawColumn, ...]
    active: Flags
    ignored: dict[str, int]

    def __len__(self) -> int:
        return len(self.active)


def table_of(sheet: RawSheet, recognised: Recognised) -> Table:
    """Return the rows below a sheet's header row."""
    last = _last_filled(sheet)
    start = min(recognised.first_row, last)
    columns = [column.take(slice(start, last)) for column in sheet.columns]
    filled = np.zeros(last - start, dtype=np.int32)
    for column in columns:
        filled += column.tag != EMPTY
    assert recognised.header_row is not None  # a sheet without a header row has no table
    headers = sheet.row_texts(recognised.header_row)
    ignored = {"blank": filled == 0}
    ignored["header again"] = _headers_again(columns, headers, filled)
    first = _first_filled(columns)
    ignored["total"] = _totals(columns, first, recognised)
    ignored["example"] = _examples(columns)
    title = (filled == 1) & np.append(ignored["header again"][1:], False)
    ignored["remark"] = title | _remarks(columns, recognised, filled, first)
    active = np.ones(last - start, dtype=bool)
    counts = {}
    for what, rows in ignored.items():
        counts[what] = int((rows & active).sum())
        active &= ~rows
    wanted = {m.column for m in recognised.meanings if m.role not in ("extra", "ignore")}
    filled_in = [_filled_down(sheet, j, column, start, j in wanted) for j, column in enumerate(columns)]
    return Table(start + 1, tuple(filled_in), active, counts)


def _last_filled(sheet: RawSheet) -> int:
    last = 0
    for column in sheet.columns:
        filled = column.tag != EMPTY
        if filled.any():
            last = max(last, len(filled) - int(np.argmax(filled[::-1])))
    return last


def _word_rows(column: RawColumn, pattern: str) -> Flags:
    """Return the rows whose word matches a pattern, in any case."""
    if not len(column.words):
        return np.zeros(len(column), dtype=bool)
    found = pc.match_substring_regex(column.words, f"(?i){pattern}").to_numpy(zero_copy_only=False).astype(bool)
    if not found.any():
        return np.zeros(len(column), dtype=bool)
    return np.append(found, False)[column.code]


def _headers_again(columns: list[RawColumn], headers: list[str], filled: npt.NDArray[np.int32]) -> Flags:
    same = np.zeros(len(filled), dtype=np.int32)
    for column, header in zip(columns, headers, strict=True):
        if header and len(column.words):
            lower = pc.utf8_lower(column.words)
            places = np.flatnonzero(pc.equal(lower, header.lower()).to_numpy(zero_copy_only=False))
            if places.size:
                same += np.isin(column.code, places)
    return (same >= _FEW) & (same * 5 >= filled * 3)


def _first_filled(columns: list[RawColumn]) -> npt.NDArray[np.int16]:
    """Return the first filled column of each row, −1 where none is."""
    n = len(columns[0]) if columns else 0
    first = np.full(n, -1, dtype=np.int16)
    for j in range(len(columns) - 1, -1, -1):
        first[columns[j].tag != EMPTY] = j
    return first


def _totals(columns: list[RawColumn], first: npt.NDArray[np.int16], recognised: Recognised) -> Flags:
    """Return the rows led by "Total", "Average" and the like; "total oxygen" in a column of measures is no total."""
    words = {m.column for m in recognised.meanings if m.role == "kept" and m.name in _WORDED}
    rows = np.zeros(len(first), dtype=bool)
    for j, column in enumerate(columns):
        here = (first == j) & (j not in words)
        if here.any():
            rows |= here & _word_rows(column, _TOTAL)
    return rows


def _examples(columns: list[RawColumn]) -> Flags:
    rows = np.zeros(len(columns[0]) if columns else 0, dtype=bool)
    for column in columns:
        rows |= _word_rows(column, f"^{re.escape(EXAMPLE)}$")
    return rows


def _remarks(
    columns: list[RawColumn], recognised: Recognised, filled: npt.NDArray[np.int32], first: npt.NDArray[np.int16]
) -> Flags:
    """Return the rows that hold a remark or a title: one cell or two, led by words that its column cannot mean."""
    known = {m.column: m for m in recognised.meanings if m.role not in ("extra", "ignore")}
    rows = np.zeros(len(first), dtype=bool)
    if len(known) <= _FEW:
        return rows
    for row in np.flatnonzero((filled > 0) & (filled <= _FEW)).tolist():
        j = int(first[row])
        column = columns[j]
        if column.tag[row] == TEXT:
            rows[row] = _is_remark(column.take(np.array([row])), known.get(j), int(filled[row]))
    return rows


def _is_remark(cell: RawColumn, meaning: Meaning | None, filled: int) -> bool:
    text = cell.text_at(0)
    states = [int(parse(cell).state[0]) for parse in (parse_numbers, parse_moments, parse_clocks)]
    if any(state in (State.READ, State.AMBIGUOUS) for state in states):
        return False
    if filled == 1 and _SECTION.fullmatch(text):
        return True
    is_words = " " in text and len(text) > 6
    holds_no_words = meaning is not None and (
        meaning.role in ("measure", "attribute", "clock") or header_key(meaning.name).endswith(("_at", "_on"))
    )
    return is_words and (filled == 1 or holds_no_words)


def _filled_down(sheet: RawSheet, j: int, column: RawColumn, start: int, is_wanted: bool) -> RawColumn:
    """Fill cells that are merged downwards, and ditto marks, from the cell above."""
    source = np.arange(len(column))
    for first_row, first_column, last_row, last_column in sheet.merged:
        if first_column <= j <= last_column and last_row > first_row >= start:
            source[first_row - start : last_row - start + 1] = first_row - start
    ditto = _word_rows(column, _DITTO) if is_wanted else np.zeros(len(column), dtype=bool)
    if ditto.any():
        ditto[0] = False
        above = np.where(ditto, -1, source)
        source = np.where(ditto, np.maximum.accumulate(above), source)
    return column if (source == np.arange(len(column))).all() else column.take(source)
