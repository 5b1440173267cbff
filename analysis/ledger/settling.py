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
    join_claims,
    load_claims,
)
from analysis.ledger.consequences import changes_of
from analysis.ledger.decisions import load_decisions
from analysis.ledger.glancing import Glance, glance
from analysis.ledger.identity import Marks, marks, moments_of
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
    moment = _since_1970(offered.packed)
    marked = pd.DataFrame({"key": offered.marks.key, "content": offered.marks.content, "family": families})
    if moment.any():
        marked["moment"] = moment
    once = np.flatnonzero(~marked.duplicated().to_numpy())
    kind = offered.packed.kind.name
    marked_once = Marks(offered.marks.key[once], offered.marks.content[once])
    seen = glance(book, offered.tables, marked_once, families[once], moment[once])
    parts = [
        Changes.none(kind, Tally(unchanged=len(offered) - len(once))),
        _added(offered, once[seen.fresh], numbering, Tally(added=int(seen.fresh.sum()))),
        _same(offered, once[seen.same], seen.record[seen.same]),
        _corrected(offered, once, seen, numbering),
    ]
    for rows in _by_key(offered.marks.key, once[~seen.fresh & ~seen.same & ~seen.corrects]):
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


def _since_1970(packed: Packed) -> Indices:
    """Return when each row's thing was [µs since 1970], 0 where it does not say, shape (n,)."""
    moments = moments_of(packed)
    return np.where(np.isnat(moments), np.int64(0), moments.view(np.int64))


def _added(offered: Incoming, rows: Indices, numbering: Numbering, tally: Tally) -> Changes:
    """Return the change of rows that stand beside nothing else."""
    nothing = Changes.none(offered.packed.kind.name, tally)
    if not len(rows):
        return nothing
    packed = offered.packed if len(rows) == len(offered) else offered.packed.take(rows)
    marked = Marks(offered.marks.key[rows], offered.marks.content[rows])
    return replace(nothing, additions=(Addition(packed, marked, numbering.records(packed.kind.name, len(rows))),))


def _corrected(offered: Incoming, once: Indices, seen: Glance, numbering: Numbering) -> Changes:
    """Return the change of rows that take the place of what earlier versions of their file said."""
    updated = int(seen.stood.sum())
    tally = Tally(added=int(seen.corrects.sum()) - updated, updated=updated)
    return replace(_added(offered, once[seen.corrects], numbering, tally), ended=seen.ended)


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
