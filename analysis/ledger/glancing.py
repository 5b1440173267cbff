"""What can be told of offered rows without reading what is on record whole?

Three cases make up almost every intake: a thing that nothing on record speaks of, a row that says what stands already,
and a row of a corrected file about a thing that only earlier versions of that file spoke of. Their outcome is that of
``merging``, read off a few numbers a row.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Table, func, select

from analysis.ledger.book import Book
from analysis.ledger.claims import conditions_on_keys, has_rows, make_ready_to_find
from analysis.ledger.decisions import load_decisions
from analysis.ledger.identity import LOOSE, Marks, span_years
from analysis.ledger.reading import read_numbers
from analysis.ledger.tables import KindTables

__all__ = ["Glance", "glance"]

_SEEN = ("key", "content", "record", "sheet", "until", "conflict", "filled")
_OCCASION = "occasion"  # when the thing of a row on record was [µs since 1970], 0 for none
_MANY = 4  # a look-up of more than one row in so many reads them all

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Glance:
    """What is told of offered rows, shape (n,) but for ``ended``.

    ``fresh``: nothing on record speaks of the thing. ``same``: ``record`` says the same and stands alone.
    ``corrects``: only earlier versions of the file speak of the thing; of these things ``ended`` are the records that
    stand, and ``stood`` says which had any. A row that is none of these has to be weighed.
    """

    fresh: Bools
    same: Bools
    record: Indices
    corrects: Bools
    stood: Bools
    ended: Indices


def glance(book: Book, tables: KindTables, marks: Marks, families: Indices, moments: Indices) -> Glance:
    """Return what is told of offered rows that differ in key, or in content, or in family.

    Parameters
    ----------
    book : Book
        The open ledger.
    tables : KindTables
        The tables of the rows' kind.
    marks : Marks, shape (n,)
        What each row is about and what it says.
    families : array, shape (n,)
        The family of each row's sheet.
    moments : array, shape (n,)
        When each row's thing was [µs since 1970], 0 where it does not say: what tells uses of one number apart.
    """
    alone = ~pd.Series(marks.key).duplicated(keep=False).to_numpy()
    nothing, zeros = np.zeros(len(alone), dtype=bool), np.zeros(len(alone), dtype=np.int64)
    found = _on_record(book, tables, marks.key)
    if not len(found):
        return Glance(alone, nothing, zeros, nothing, nothing, zeros[:0])
    key = pd.Index(marks.key)
    alone &= ~_in_other_years(found, key, moments)
    current = found[found["until"].eq(0)]
    same, record = _standing_the_same(current, key, marks.content)
    decided = load_decisions(book.connection, tables.kind.name)["key"]
    same &= alone & ~np.isin(marks.key, decided)  # what was decided may rest on a row that the file no longer has
    only = alone & ~same & _spoken_of_by(book, tables, found, key, families)
    ended = current["record"].to_numpy(dtype=np.int64)[np.isin(current["key"], marks.key[only])]
    return Glance(alone & ~key.isin(found["key"]), same, record, only, only & key.isin(current["key"]), ended)


def _in_other_years(found: pd.DataFrame, key: pd.Index, moments: Indices) -> Bools:
    """Return whether the rows about a number, on record or offered, may speak of uses of it in two years."""
    dated = found[found[_OCCASION].ne(0)].groupby("key")[_OCCASION].agg(["min", "max"])
    if not len(dated):
        return np.zeros(len(key), dtype=bool)
    place = dated.index.get_indexer(key)
    last, first = np.append(dated["max"].to_numpy(), 0)[place], np.append(dated["min"].to_numpy(), 0)[place]
    low = np.where((moments != 0) & (moments < first), moments, first)
    return span_years(low, np.maximum(last, np.where(first != 0, moments, 0)))


def _on_record(book: Book, tables: KindTables, key: Indices) -> pd.DataFrame:
    """Return the rows on record with these keys, but not what they say."""
    occasion = tables.kind.occasion
    names = (*_SEEN, *([occasion] if occasion else []))
    if not has_rows(book.connection, tables.records):
        return pd.DataFrame(columns=[*_SEEN, _OCCASION], dtype=np.int64)
    make_ready_to_find(book.connection, tables)
    rows = _rows(book, tables.records, names, np.unique(key))
    return rows.rename(columns={occasion: _OCCASION}) if occasion else rows.assign(occasion=0)


def _rows(book: Book, table: Table, names: tuple[str, ...], keys: Indices) -> pd.DataFrame:
    """Return the rows of a table with these keys: one by one where they are few, else by reading them all."""
    count = int(book.connection.execute(select(func.count()).select_from(table)).scalar_one())
    if len(keys) * _MANY < count:
        conditions = conditions_on_keys(book.connection, keys)
        parts = [read_numbers(book.connection, table, names, condition) for condition in conditions]
        return pd.concat(parts, ignore_index=True)
    rows = read_numbers(book.connection, table, names)
    return rows[np.isin(rows["key"], keys)]


def _standing_the_same(current: pd.DataFrame, key: pd.Index, content: Indices) -> tuple[Bools, Indices]:
    """Return which rows say what the one row that stands about their thing says, and that row's record."""
    only = current[~current["key"].duplicated(keep=False)]
    plain = only[only["conflict"].eq(0) & only["filled"].eq(0)]
    place = pd.Index(plain["key"]).get_indexer(key)
    same = place >= 0
    same[same] = plain["content"].to_numpy()[place[same]] == content[same]
    record = np.zeros(len(key), dtype=np.int64)
    record[same] = plain["record"].to_numpy()[place[same]]
    return same, record


def _spoken_of_by(book: Book, tables: KindTables, found: pd.DataFrame, key: pd.Index, families: Indices) -> Bools:
    """Return whether every row about a thing, standing or not, is of the one family."""
    if tables.kind.name in LOOSE:
        return np.zeros(len(key), dtype=bool)
    claims = found[["key", "sheet"]]
    if has_rows(book.connection, tables.repeats):
        repeats = _rows(book, tables.repeats, ("key", "sheet"), np.unique(key.to_numpy()))
        claims = pd.concat([claims, repeats], ignore_index=True)
    family = pd.Series(book.family_of(claims["sheet"].to_numpy(dtype=np.int64)))
    told = family.groupby(claims["key"].to_numpy(dtype=np.int64)).agg(["min", "max"]).reindex(key)
    return np.asarray((told["min"] == families) & (told["max"] == families))
