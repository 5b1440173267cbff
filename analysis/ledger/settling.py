"""What becomes of the rows that are offered, and of those on record that they meet?

A thing that no row on record speaks of, and one that is said again in the same words, are settled by a look at two
numbers a row; only what is left is read whole and weighed by ``merging``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.book import Book
from analysis.ledger.changes import Addition, Changes, Numbering, Tally, join_changes
from analysis.ledger.claims import (
    Claims,
    Origin,
    has_rows,
    join_claims,
    load_claims,
    make_ready_to_find,
    rows_with_keys,
)
from analysis.ledger.consequences import changes_of
from analysis.ledger.decisions import load_decisions
from analysis.ledger.identity import Marks, marks
from analysis.ledger.merging import fold
from analysis.ledger.packing import Packed
from analysis.ledger.tables import KIND_TABLES, KindTables

__all__ = ["Incoming", "incoming", "settle_keys", "settle_offered"]

_SLICE = 50_000  # keys that are weighed at one time

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Incoming:
    """The rows of one kind that an intake offers."""

    tables: KindTables
    packed: Packed
    marks: Marks

    def __len__(self) -> int:
        return len(self.packed)

    def take(self, rows: Indices) -> Incoming:
        """Return those rows only."""
        return Incoming(self.tables, self.packed.take(rows), Marks(self.marks.key[rows], self.marks.content[rows]))


def incoming(packed: Packed) -> Incoming:
    """Return offered rows with their marks; this needs no ledger, and is done before one is kept waiting."""
    return Incoming(KIND_TABLES[packed.kind.name], packed, marks(packed))


def settle_offered(book: Book, offered: Incoming, numbering: Numbering, intake: int, families: Indices) -> Changes:
    """Return what offered rows change.

    Parameters
    ----------
    book : Book
        The open ledger.
    offered : Incoming
        The rows, with ``packed.sheet`` the sheet's number in the ledger.
    numbering : Numbering
        Gives numbers to new rows and conflicts.
    intake : int
        The number of the intake.
    families : array, shape (n,)
        The family of each row's sheet.
    """
    marked = pd.DataFrame({"key": offered.marks.key, "content": offered.marks.content, "family": families})
    once = np.flatnonzero(~marked.duplicated().to_numpy())
    alone = ~marked["key"].iloc[once].duplicated(keep=False).to_numpy()
    said_again = Changes.none(offered.packed.kind.name, Tally(unchanged=len(offered) - len(once)))
    if not has_rows(book.connection, offered.tables.records):
        fresh, same = alone, np.zeros(len(once), dtype=bool)
        record = np.zeros(len(once), dtype=np.int64)
    else:
        make_ready_to_find(book.connection, offered.tables)
        known, same, record = _look_up(book, offered, once)
        fresh, same = alone & ~known, alone & same
    parts = [said_again, _fresh(offered, once[fresh], numbering), _same(offered, once[same], record[same])]
    for rows in _by_key(marked["key"].to_numpy(), once[~fresh & ~same]):
        claims = _offered_claims(offered, rows, intake, families)
        parts.append(_settle(book, offered.tables, claims, numbering))
    return join_changes(parts)


def settle_keys(book: Book, tables: KindTables, keys: Indices, numbering: Numbering) -> Changes:
    """Return what changes about the things with these keys when their claims on record are weighed anew."""
    parts = [Changes.none(tables.kind.name, Tally())]
    for start in range(0, len(keys), _SLICE):
        claims = load_claims(book, tables, keys[start : start + _SLICE])
        parts.append(_weigh(book, claims, numbering))
    return join_changes(parts)


def _look_up(book: Book, offered: Incoming, rows: Indices) -> tuple[Bools, Bools, Indices]:
    """Return whether a thing is known, whether what stands of it says the same, and the record that does."""
    key = offered.marks.key[rows]
    names = ("key", "content", "record", "until", "conflict", "filled")
    found = [
        pd.DataFrame(part, columns=list(names))
        for part in rows_with_keys(book.connection, offered.tables.records, names, np.unique(key))
        if part
    ]
    if not found:
        nothing = np.zeros(len(rows), dtype=bool)
        return nothing, nothing, np.zeros(len(rows), dtype=np.int64)
    on_record = pd.concat(found, ignore_index=True)
    current = on_record[on_record["until"].isna()]
    only = current[~current["key"].duplicated(keep=False)]
    plain = only[only["conflict"].isna() & ~only["filled"].astype(bool)]
    place = pd.Index(plain["key"].astype(np.int64)).get_indexer(pd.Index(key))
    same = place >= 0
    same[same] = plain["content"].to_numpy(dtype=np.int64)[place[same]] == offered.marks.content[rows][same]
    record = np.where(same, plain["record"].to_numpy(dtype=np.int64)[place] if len(plain) else 0, 0)
    return np.isin(key, on_record["key"].to_numpy(dtype=np.int64)), same, record.astype(np.int64)


def _fresh(offered: Incoming, rows: Indices, numbering: Numbering) -> Changes:
    """Return the change of rows about things that nothing on record speaks of."""
    packed = offered.packed if len(rows) == len(offered) else offered.packed.take(rows)
    marked = Marks(offered.marks.key[rows], offered.marks.content[rows])
    addition = Addition(packed, marked, numbering.records(packed.kind.name, len(rows)))
    return replace(Changes.none(packed.kind.name, Tally(added=len(rows))), additions=(addition,) if len(rows) else ())


def _same(offered: Incoming, rows: Indices, record: Indices) -> Changes:
    """Return the change of rows that say what stands already."""
    repeats = pd.DataFrame(
        {
            "record": record,
            "sheet": offered.packed.sheet[rows],
            "source_row": offered.packed.source_row[rows],
            "key": offered.marks.key[rows],
        }
    )
    return replace(Changes.none(offered.packed.kind.name, Tally(unchanged=len(rows))), repeats=repeats)


def _by_key(key: Indices, rows: Indices) -> Iterator[Indices]:
    """Give rows in slices, those with one key all in the same slice."""
    order = rows[np.argsort(key[rows], kind="stable")]
    start = 0
    while start < len(order):
        stop = min(start + _SLICE, len(order))
        while stop < len(order) and key[order[stop]] == key[order[stop - 1]]:
            stop += 1
        yield np.sort(order[start:stop])
        start = stop


def _offered_claims(offered: Incoming, rows: Indices, intake: int, families: Indices) -> Claims:
    about = pd.DataFrame(
        {
            "key": offered.marks.key[rows],
            "content": offered.marks.content[rows],
            "record": np.int64(-1),
            "origin": np.int64(Origin.OFFERED),
            "intake": np.int64(intake),
            "family": families[rows],
            "active": True,
            "current": False,
            "conflict": np.int64(0),
        }
    )
    return Claims(offered.packed.take(rows), about)


def _settle(book: Book, tables: KindTables, offered: Claims, numbering: Numbering) -> Changes:
    """Weigh offered claims with those on record."""
    keys = np.unique(offered.about["key"].to_numpy())
    claims = join_claims([load_claims(book, tables, keys), offered])
    return _weigh(book, claims, numbering)


def _weigh(book: Book, claims: Claims, numbering: Numbering) -> Changes:
    decisions = load_decisions(book.connection, claims.packed.kind.name)
    return changes_of(claims, fold(claims, decisions), numbering)
