"""How is an intake taken back, and what stands then?"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Connection, Table, select, update

from analysis.ledger.applying import apply_changes
from analysis.ledger.book import Book, open_book, turn_state
from analysis.ledger.changes import Changes, Numbering, Tally, join_changes
from analysis.ledger.claims import has_rows, make_ready_to_find
from analysis.ledger.database import Database
from analysis.ledger.results import Withdrawal
from analysis.ledger.settling import settle_keys
from analysis.ledger.tables import INTAKES, KIND_TABLES, STATES, KindTables

__all__ = ["withdraw"]

Indices = npt.NDArray[np.int64]


def withdraw(database: Database, intake: int, because: str, by: str, at: datetime) -> Withdrawal:
    """Take an intake back; see ``Ledger.withdraw``."""
    with database.writing() as connection:
        book = open_book(connection)
        _check(connection, intake)
        sheets = book.sheets.index[book.sheets["intake"] == intake].to_numpy(dtype=np.int64)
        left, numbering = book.without(intake), Numbering(connection)
        changes = [_taken_back(left, tables, sheets, numbering) for tables in KIND_TABLES.values()]
        altered = [change.kind for change in changes if change.alters]
        state = turn_state(book, "withdraw", by, at, altered, intake=intake, because=because)
        connection.execute(update(INTAKES).where(INTAKES.c.intake == intake).values(withdrawn=state))
        for change in changes:
            apply_changes(book, change)
        numbering.save()
    removed = {change.kind: change.tally.removed for change in changes if change.tally.removed}
    restored = {change.kind: change.tally.restored for change in changes if change.tally.restored}
    return Withdrawal(intake, state, removed, restored)


def _check(connection: Connection, intake: int) -> None:
    """Refuse an intake that is not there or was withdrawn before."""
    query = (
        select(INTAKES.c.withdrawn, STATES.c.by, STATES.c.at)
        .outerjoin(STATES, STATES.c.state == INTAKES.c.withdrawn)
        .where(INTAKES.c.intake == intake)
    )
    found = connection.execute(query).one_or_none()
    if found is None:
        known = connection.execute(select(INTAKES.c.intake).where(INTAKES.c.withdrawn.is_(None))).scalars().all()
        allowed = f"one of the intakes on record ({', '.join(map(str, sorted(known)))})" if known else "on record"
        raise ValueError(f"Ledger.withdraw: intake must be {allowed}, got {intake}")
    if found.withdrawn is not None:
        day = datetime.fromisoformat(found.at)
        raise ValueError(
            f"Ledger.withdraw: intake must not be withdrawn yet, got {intake}, which {found.by} withdrew on"
            f" {day.day} {day:%B %Y}"
        )


def _taken_back(book: Book, tables: KindTables, sheets: Indices, numbering: Numbering) -> Changes:
    """Return what changes in one kind once these sheets no longer count.

    What no other sheet speaks of ends without being read; the rest is weighed anew.
    """
    connection, nothing = book.connection, Changes.none(tables.kind.name, Tally())
    if not has_rows(connection, tables.records):
        return nothing
    own = _rows_on(connection, tables.records, ("record", "key", "until", "conflict"), sheets)
    repeated = _rows_on(connection, tables.repeats, ("key",), sheets)["key"].to_numpy(dtype=np.int64)
    if not len(own) and not len(repeated):
        return nothing
    others = _keys_elsewhere(connection, tables.records, sheets)
    spoken_of = np.concatenate([others, _keys_elsewhere(connection, tables.repeats, sheets)])
    key = own["key"].to_numpy(dtype=np.int64)
    only_here = ~np.isin(key, spoken_of)
    ended = own[only_here & own["until"].isna().to_numpy()]
    settled = _only_copy(repeated, key, others)
    again = np.unique(np.concatenate([key[~only_here], repeated[~settled & np.isin(repeated, spoken_of)]]))
    if not len(again):
        return _without_look(nothing, ended)
    make_ready_to_find(connection, tables)
    return join_changes([_without_look(nothing, ended), settle_keys(book, tables, again, numbering)])


def _rows_on(connection: Connection, table: Table, names: tuple[str, ...], sheets: Indices) -> pd.DataFrame:
    query = select(*(table.c[name] for name in names)).where(table.c.sheet.in_(sheets.tolist()))
    return pd.DataFrame(connection.execute(query).all(), columns=list(names))


def _keys_elsewhere(connection: Connection, table: Table, sheets: Indices) -> Indices:
    """Return the key of every row of the other sheets."""
    query = select(table.c.key).where(table.c.sheet.not_in(sheets.tolist()))
    return np.array(connection.execute(query).scalars().all(), dtype=np.int64)


def _only_copy(repeated: Indices, own: Indices, others: Indices) -> npt.NDArray[np.bool_]:
    """Return whether a repeat says what the one row about its thing says, so that nothing is lost with it."""
    keys, counts = np.unique(np.concatenate([own, others]), return_counts=True)
    once = np.setdiff1d(keys[counts == 1], own)
    return np.isin(repeated, once)


def _without_look(nothing: Changes, ended: pd.DataFrame) -> Changes:
    """Return the change that ends rows about things that nothing else speaks of."""
    conflict = ended["conflict"]
    things = int(conflict.isna().sum()) + int(conflict.nunique())
    records = ended["record"].to_numpy(dtype=np.int64)
    return replace(nothing, ended=records, tally=Tally(removed=things))
