"""Which use of a number that comes round again is meant?"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import pandas as pd

from analysis.linking.entries import NEVER, Flags, Ints
from analysis.records.names import batch_number, name_of, vessel_name

__all__ = [
    "AFTER",
    "BEFORE",
    "FOUND",
    "NO_NUMBER",
    "UNDATED",
    "UNKNOWN",
    "Pool",
    "UseIndex",
    "clusters",
    "number_and_date",
    "unique_keys",
]

FOUND, NO_NUMBER, UNKNOWN, UNDATED, BEFORE, AFTER = range(6)
"""How a look-up ended: the use was found; no number was given; no such number; the number has several uses and the row
no date; the row is dated before the number's first use; or after that use had ended."""

_SHIFT = 33  # seconds up to the year 2242 fit below it
_RUN_WORD = re.compile(
    r"^\s*(?:(?:packaging |pack )?run\b[\s.:]*)?(?:(?:no|nr|number)\b[\s.:]*)?#?\s*(?=\S)", re.IGNORECASE
)


@dataclass(frozen=True)
class Pool:
    """The numbers or names that are on record, each in its normal form and with a code from 0.

    ``known`` maps what was written to its code; ``form`` gives the normal form of anything else.
    """

    keys: pd.Index[str]
    known: Mapping[str, int]
    form: Callable[[str], str]

    @classmethod
    def of_batches(cls, *columns: pd.Series) -> Pool:
        """Return the pool of batch numbers.

        B5 and 5 are one batch. Where a number stands behind two letters the letters tell batches apart, and stay; where
        it never stands without its one letter that belongs to its name, and is shown.
        """
        written = _written(columns)
        lettered: dict[str, set[str]] = {}
        for text in (text for text in written if not _is_plain(text)):
            lettered.setdefault(batch_number(text, ""), set()).add(batch_number(text, "BGL"))
        bare = {text for text in written if _is_plain(text)} | {n for n, forms in lettered.items() if n in forms}
        apart = frozenset(number for number, forms in lettered.items() if len(forms - {number}) > 1)
        shown = {n: batch_number(min(forms)) for n, forms in lettered.items() if n not in bare | apart}
        return cls._of(written, partial(_batch_form, apart=apart, shown=shown))

    @classmethod
    def of_vessels(cls, *columns: pd.Series) -> Pool:
        """Return the pool of vessels."""
        return cls._of(_written(columns), _vessel_form)

    @classmethod
    def of_runs(cls, *columns: pd.Series) -> Pool:
        """Return the pool of run numbers; the word run before a number is not part of it."""
        return cls._of(_written(columns), _run_form)

    @classmethod
    def _of(cls, written: Sequence[str], form: Callable[[str], str]) -> Pool:
        forms = {text: form(text) for text in written}
        keys = sorted(set(forms.values()))
        code = {key: place for place, key in enumerate(keys)}
        return cls(pd.Index(keys, dtype="str"), {text: code[key] for text, key in forms.items()}, form)

    def codes(self, column: pd.Series) -> tuple[Ints, Flags]:
        """Return each cell's code, -1 where missing or not in the pool, and whether the cell says anything."""
        place, texts = pd.factorize(column, use_na_sentinel=True)
        code = np.full(len(texts) + 1, -1, dtype=np.int64)
        words: list[str] = texts.tolist()
        code[:-1] = [self.known.get(word, -1) for word in words]
        strange = np.flatnonzero(code[:-1] < 0)
        forms = pd.Index([self.form(words[i]) for i in strange.tolist()], dtype="str")
        code[strange] = self.keys.get_indexer(forms)
        return code[place], place >= 0

    def __contains__(self, text: str) -> bool:
        return text in self.known or self.form(text) in self.keys


def _written(columns: tuple[pd.Series, ...]) -> list[str]:
    return sorted({text for column in columns for text in column.dropna().unique().tolist()})


def _batch_form(text: str, apart: frozenset[str], shown: Mapping[str, str]) -> str:
    number = text if _is_plain(text) else batch_number(text, "")
    return batch_number(text, "BGL") if number in apart else shown.get(number, number)


def _is_plain(text: str) -> bool:
    """Return whether a text is a number in its normal form, as nearly all are once they are on record."""
    return text.isdecimal() and text.isascii() and text[0] != "0"


def _vessel_form(text: str) -> str:
    return vessel_name(text).casefold()


def _run_form(text: str) -> str:
    return name_of(_RUN_WORD.sub("", text)).casefold()


@dataclass(frozen=True)
class UseIndex:
    """The uses of numbers, ready to be found by number and moment.

    A use is one time that a number stood for a batch, a run, or a batch in a vessel. ``keys`` is sorted, one entry a
    use; ``use`` tells which; ``until`` [s] is its last second; ``count`` is the uses of each code.
    """

    keys: Ints
    code: Ints
    use: Ints
    until: Ints
    count: Ints

    @classmethod
    def of(cls, code: Ints, since: Ints, until: Ints, n_codes: int) -> UseIndex:
        """Return the index of uses that begin at ``since`` and end at ``until`` [s], both inclusive."""
        keys = (code << _SHIFT) | np.maximum(since, 0)
        order = np.lexsort((until, keys))
        return cls(keys[order], code[order], order.astype(np.int64), until[order], np.bincount(code, minlength=n_codes))

    def find(self, code: Ints, given: Flags, seconds: Ints) -> tuple[Ints, Ints]:
        """Return the use that each row means, -1 where there is none, and how the look-up ended.

        Of the uses that had begun by then, the latest is meant; a row without a date finds a number's only use.
        """
        known = code >= 0
        safe = np.where(known, code, 0)
        uses = np.where(known, self.count[safe] if len(self.count) else 0, 0)
        dated = seconds != NEVER
        # Without a date the search runs past the end of the number's uses, so that it finds the last of them.
        wanted = (safe << _SHIFT) | np.where(dated, seconds, (1 << _SHIFT) - 1)
        place = np.searchsorted(self.keys, wanted, side="right") - 1
        begun = (place >= 0) & (self.code[np.maximum(place, 0)] == code) if len(self.keys) else np.zeros_like(known)
        ended = np.full(len(code), UNKNOWN)
        ended[~given] = NO_NUMBER
        ended[known & (uses > 0)] = FOUND
        ended[known & (uses > 0) & ~begun] = BEFORE
        ended[known & (uses > 1) & ~dated] = UNDATED
        if len(self.keys):
            over = dated & begun & (seconds > self.until[np.maximum(place, 0)])
            ended[(ended == FOUND) & over] = AFTER
        found = ended == FOUND
        use = np.full(len(code), -1, dtype=np.int64)
        use[found] = self.use[place[found]]
        return use, ended.astype(np.int64)

    def nearest(self, code: Ints, seconds: Ints, within: int) -> Ints:
        """Return the use that begins nearest to each moment, -1 where none begins within so many seconds of it."""
        use = np.full(len(code), -1, dtype=np.int64)
        rows = np.flatnonzero((code >= 0) & (seconds != NEVER))
        if not len(rows) or not len(self.keys):
            return use
        wanted = (code[rows] << _SHIFT) | seconds[rows]
        after = np.searchsorted(self.keys, wanted)
        sides = np.stack([np.maximum(after - 1, 0), np.minimum(after, len(self.keys) - 1)])
        away = np.where(self.code[sides] == code[rows], np.abs(self.keys[sides] - wanted), np.iinfo(np.int64).max)
        side = np.argmin(away, axis=0)
        near = away[side, np.arange(len(rows))] <= within
        use[rows[near]] = self.use[sides[side, np.arange(len(rows))]][near]
        return use


def clusters(code: Ints, seconds: Ints, gap: int) -> Ints:
    """Return a number for each stretch of rows of one code that lie no more than ``gap`` [s] from the one before."""
    order = np.lexsort((seconds, code))
    fresh = np.ones(len(code), dtype=bool)
    if len(code) > 1:
        same = np.diff(code[order]) == 0
        fresh[1:] = ~(same & (np.diff(seconds[order]) <= gap))
    label = np.empty(len(code), dtype=np.int64)
    label[order] = np.cumsum(fresh) - 1
    return label


_KEY = re.compile(r"(?P<number>.+?) \((?P<date>\d{4}(?:-\d\d){0,2})\)(?: of .*| \d+)?(?: #\d+)?")


def number_and_date(key: str) -> tuple[str, str]:
    """Return the number that a key of ``unique_keys`` stands for, and its year, month or day, "" where it has none.

    >>> [number_and_date(key) for key in ("12", "12 (2025)", "12 (2025-03-04) of 7")]
    [('12', ''), ('12', '2025'), ('12', '2025-03-04')]
    """
    found = _KEY.fullmatch(key)
    return (found["number"], found["date"]) if found else (key, "")


def unique_keys(numbers: pd.Series, moments: pd.Series, others: Sequence[str] = ()) -> pd.Series:
    """Return a key for every use: the number, with its year, its month or its day where it is used more than once.

    ``others`` tells two uses of one day apart; what is still alike is counted.
    """
    keys = numbers.astype("str")
    for form in ("%Y", "%Y-%m", "%Y-%m-%d"):
        again = keys.duplicated(keep=False)
        if not again.any():
            return keys
        dated = numbers[again] + " (" + moments[again].dt.strftime(form).fillna("no date") + ")"
        keys = keys.where(~again, dated.reindex(keys.index))
    if keys.duplicated().any():
        alike = keys.duplicated(keep=False)
        rank = keys.groupby(keys).cumcount() + 1
        tail = pd.Series(others, index=keys.index, dtype="str") if len(others) else rank.astype("str")
        keys = keys.where(~alike, keys + " " + tail)
        twice = keys.duplicated(keep=False)
        keys = keys.where(~twice, keys + " #" + rank.astype("str"))
    return keys
