"""How is an intake taken back, and what stands then?"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection, select, update

from analysis.ledger.applying import apply_changes
from analysis.ledger.book import Book, open_book, turn_state
from analysis.ledger.changes import Changes, Numbering, Tally, join_changes
from analysis.ledger.claims import has_rows, make_ready_to_find
from analysis.ledger.database import Database
from analysis.ledger.results import Withdrawal
from analysis.ledger.retreat import plain_retreat
from analysis.ledger.settling import settle_keys
from analysis.ledger.tables import INTAKES, KIND_TABLES, STATES, KindTables

__all__ = ["withdraw"]

Indices = npt.NDArray[np.int64]


def withdraw(database: Database, intake: int, because: str, by: str, at: datetime) -> Withdrawal:
    """Take an intake back; see ``Ledger.withdraw``."""
    with database.writing() as connection:
        book = open_book(connection)
        _check(connection, intake)
        left, numbering = book.without(intake), Numbering(connection)
        changes = [_taken_back(left, tables, intake, numbering) for tables in KIND_TABLES.values()]
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


def _taken_back(book: Book, tables: KindTables, intake: int, numbering: Numbering) -> Changes:
    """Return what changes in one kind once an intake no longer counts: what is plain first, the rest weighed anew."""
    if not has_rows(book.connection, tables.records):
        return Changes.none(tables.kind.name, Tally())
    plain, rest = plain_retreat(book, tables, intake)
    if not len(rest):
        return plain
    make_ready_to_find(book.connection, tables)
    return join_changes([plain, settle_keys(book, tables, rest, numbering)])
