"""Which use of a number that comes round again is meant?"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from analysis.linking.entries import NEVER, Flags, Ints

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
    "match_key",
    "unique_keys",
]

FOUND, NO_NUMBER, UNKNOWN, UNDATED, BEFORE, AFTER = range(6)
"""How a look-up ended: the use was found; no number was given; no such number; the number has several uses and the row
no date; the row is dated before the number's first use; or after that use had ended."""

_SHIFT = 33  # seconds up to the year 2242 fit below it
_PREFIX = re.compile(r"^(?:(?:batch|brew|gyle|lot|run|number|no|nr)\b[\s.:#]*|[#\s]+|g(?=\d{2}))+", re.IGNORECASE)


def match_key(text: str) -> str:
    """Return what two writings of one number have in common.

    >>> [match_key(t) for t in ("2417", "#2417", "G2417", "Gyle 2417", "2417.0")]
    ['2417', '2417', '2417', '2417', '2417']
    """
    bare = _PREFIX.sub("", text.strip()).removesuffix(".0")
    return bare.upper() or text.strip().upper()


@dataclass(frozen=True)
class Pool:
    """The numbers or names that are on record, each with a code from 0."""

    keys: pd.Index[str]

    @classmethod
    def of(cls, *columns: pd.Series) -> Pool:
        """Return the pool of everything that stands in the columns."""
        found = {match_key(text) for column in columns for text in column.dropna().unique()}
        return cls(pd.Index(sorted(found), dtype="str"))

    def codes(self, column: pd.Series) -> tuple[Ints, Flags]:
        """Return each cell's code, -1 where missing or not in the pool, and whether the cell says anything."""
        place, texts = pd.factorize(column, use_na_sentinel=True)
        keys = pd.Index([match_key(text) for text in texts], dtype="str")
        lookup = np.append(self.keys.get_indexer(keys), -1).astype(np.int64)
        return lookup[place], place >= 0


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
