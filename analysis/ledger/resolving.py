"""How does a person say which of the values that contradict each other is right?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlalchemy import Connection, insert, select

from analysis.ledger.applying import apply_changes
from analysis.ledger.book import next_number, open_book, turn_state
from analysis.ledger.changes import Numbering
from analysis.ledger.claims import make_ready_to_find
from analysis.ledger.conflicts import Claim, claims_of
from analysis.ledger.database import Database
from analysis.ledger.settling import settle_keys
from analysis.ledger.tables import DISMISSED, KIND_TABLES, RESOLUTIONS, STATES, KindTables

__all__ = ["Resolution", "resolutions", "resolve"]


@dataclass(frozen=True)
class Resolution:
    """A decision between claims: which was kept, by whom, when and why; ``state`` is the state that it made."""

    conflict: int
    kind: str
    kept: Claim
    state: int
    by: str
    at: datetime
    because: str


@dataclass(frozen=True)
class _Sides:
    """The rows of a conflict: their records, and the key and content of each."""

    tables: KindTables
    records: tuple[int, ...]
    keys: tuple[int, ...]
    contents: tuple[int, ...]


def resolve(database: Database, conflict: int, keep: int, because: str, by: str, at: datetime) -> Resolution:
    """Settle a conflict; see ``Ledger.resolve``."""
    with database.writing() as connection:
        book = open_book(connection)
        sides = _sides(connection, conflict)
        if keep not in sides.records:
            allowed = ", ".join(map(str, sides.records))
            raise ValueError(f"Ledger.resolve: keep must be a record of conflict {conflict} ({allowed}), got {keep}")
        kind = sides.tables.kind.name
        state = turn_state(book, "resolve", by, at, [kind], because=because)
        _write(connection, state, conflict, sides, keep)
        make_ready_to_find(connection, sides.tables)
        numbering = Numbering(connection)
        apply_changes(book, settle_keys(book, sides.tables, np.array([sides.keys[0]], dtype=np.int64), numbering))
        numbering.save()
        kept = claims_of(connection, kind, [keep])[0]
    return Resolution(conflict, kind, kept, state, by, at, because)


def _sides(connection: Connection, conflict: int) -> _Sides:
    """Return the rows of an open conflict."""
    for tables in KIND_TABLES.values():
        rows = tables.records.c
        query = select(rows.record, rows.key, rows.content).where(rows.until.is_(None), rows.conflict == conflict)
        found = connection.execute(query.order_by(rows.record)).all()
        if found:
            records, keys, contents = zip(*(tuple(row) for row in found), strict=True)
            return _Sides(tables, records, keys, contents)
    raise ValueError(f"Ledger.resolve: conflict must be the number of an open conflict, got {conflict}")


def _write(connection: Connection, state: int, conflict: int, sides: _Sides, keep: int) -> None:
    number, place = next_number(connection, RESOLUTIONS, "resolution"), sides.records.index(keep)
    connection.execute(
        insert(RESOLUTIONS).values(
            resolution=number, state=state, kind=sides.tables.kind.name, conflict=conflict, record=keep,
            key=sides.keys[place], kept=sides.contents[place],
        )
    )  # fmt: skip
    for content in set(sides.contents) - {sides.contents[place]}:
        connection.execute(insert(DISMISSED).values(resolution=number, content=content))


def resolutions(connection: Connection) -> tuple[Resolution, ...]:
    """Return every decision between claims, in order."""
    query = (
        select(RESOLUTIONS, STATES.c.by, STATES.c.at, STATES.c.because)
        .join(STATES, STATES.c.state == RESOLUTIONS.c.state)
        .order_by(RESOLUTIONS.c.resolution)
    )
    rows = connection.execute(query).all()
    kept = {kind: _by_record(connection, kind, [r.record for r in rows if r.kind == kind]) for kind in KIND_TABLES}
    return tuple(
        Resolution(
            row.conflict, row.kind, kept[row.kind][row.record], row.state, row.by,
            datetime.fromisoformat(row.at), row.because,
        )
        for row in rows
    )  # fmt: skip


def _by_record(connection: Connection, kind: str, records: Sequence[int]) -> dict[int, Claim]:
    return {claim.record: claim for claim in claims_of(connection, kind, records)} if records else {}
