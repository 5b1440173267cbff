"""What do most cells of a column look like: numbers, clock times, moments, or words?"""

from __future__ import annotations

import numpy as np
import pyarrow as pa

from analysis.records.cells import BOOL, CLOCK, EMPTY, MOMENT, NUMBER, TEXT, RawColumn, RawSheet
from analysis.records.meaning import Look, Looks
from analysis.records.parsed import State
from analysis.records.parsing import parse_clocks, parse_moments, parse_numbers
from analysis.units import Unit, recognise_unit

__all__ = ["looks_below", "volume_below"]

_LOOKED_AT = 400
_DAY_NUMBERS = (32_874, 65_745)
_CLOCK_PART = 0.5


def looks_below(sheet: RawSheet, first_row: int) -> Looks:
    """Return a function that tells what a column's cells look like from ``first_row`` (counted from 0) on."""
    known: dict[int, Look] = {}

    def look(column: int) -> Look:
        if column not in known:
            known[column] = _look(_sample(sheet.columns[column], first_row))
        return known[column]

    return look


def volume_below(column: RawColumn, first_row: int) -> str | None:
    """Return the unit of volume that most cells of a column state ("500 ml"), None where they state none."""
    sample = _sample(column, first_row)
    read = parse_numbers(sample)
    stated = read.unit_code[(read.state == State.READ) & (read.unit_code >= 0)]
    if len(stated) * 2 <= len(sample):
        return None
    unit = read.units[int(np.bincount(stated).argmax())]
    return unit if isinstance(recognise_unit(unit, "size"), Unit) else None


def _sample(column: RawColumn, first_row: int) -> RawColumn:
    filled = np.flatnonzero(column.tag[first_row : first_row + 20 * _LOOKED_AT] != EMPTY) + first_row
    return column.take(filled[:_LOOKED_AT])


def _look(column: RawColumn) -> Look:
    n = len(column)
    if n == 0:
        return "empty"
    counts = np.bincount(column.tag, minlength=8)
    if counts[CLOCK] * 2 > n:
        return "clock"
    if counts[MOMENT] * 2 > n:
        return "moment"
    if counts[NUMBER] * 2 > n:
        return _look_of_numbers(column.number[column.tag == NUMBER])
    if counts[BOOL] * 2 > n:
        return "text"
    return _look_of_words(column.take(np.flatnonzero(column.tag == TEXT))) if counts[TEXT] else "text"


def _look_of_numbers(numbers: np.ndarray) -> Look:
    days = (numbers >= _DAY_NUMBERS[0]) & (numbers < _DAY_NUMBERS[1])
    return "moment" if days.all() else "number"


def _look_of_words(column: RawColumn) -> Look:
    """Tell by what most words read as; a word that says "missing" reads as anything."""
    clocks, moments = parse_clocks(column).state, parse_moments(column).state
    numbers = parse_numbers(column).state
    read = np.array([_share(numbers), _share(clocks), _share(moments, State.AMBIGUOUS)])
    if read.max() <= _CLOCK_PART:
        return "text"
    if _bare_digits(column.take(np.flatnonzero(numbers != State.MISSING))) and read[0] >= read[1]:
        return "number"
    order: tuple[Look, ...] = ("number", "clock", "moment")
    return order[int(np.argmax(read + np.array([0.0, 0.02, 0.01])))]


def _share(states: np.ndarray, also: State | None = None) -> float:
    missing = (states == State.MISSING).sum()
    good = (states == State.READ).sum() + (0 if also is None else (states == also).sum())
    return float(good / max(len(states) - missing, 1))


def _bare_digits(column: RawColumn) -> bool:
    """Tell whether the words are plain numbers, so that "14.30" is a reading and no clock time."""
    words = column.words
    return bool(len(words)) and bool(
        pa.compute.all(pa.compute.match_substring_regex(words, r"^[<>]?\s*\d+([.,]\d+)?$")).as_py()
    )
