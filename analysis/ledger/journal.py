"""What did people decide, who, when and why? An entry may be taken back, and is never edited."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from types import MappingProxyType
from typing import Any

from sqlalchemy import Connection, Row, Select, insert, select

from analysis.ledger.book import next_number, open_book, turn_state
from analysis.ledger.database import Database
from analysis.ledger.tables import JOURNAL, STATES, TAKEN_BACK

__all__ = ["JournalEntry", "TakenBack", "decide", "journal", "take_back"]

DECIDE, TAKE_BACK = "decide", "take back"
"""What ``STATES`` says of the changes that are made here."""


@dataclass(frozen=True)
class TakenBack:
    """Who took a decision back, when and why; ``state`` is the state that this made."""

    state: int
    by: str
    at: datetime
    because: str


@dataclass(frozen=True)
class JournalEntry:
    """One decision: what it is about, what was decided (a JSON object), why, by whom and when.

    ``state`` is the state that the decision made; ``taken_back`` is None while it stands.
    """

    number: int
    subject: str
    content: Mapping[str, object]
    because: str
    by: str
    at: datetime
    state: int
    taken_back: TakenBack | None = None

    @property
    def stands(self) -> bool:
        """Whether nobody took it back."""
        return self.taken_back is None


def decide(
    database: Database, subject: str, content: Mapping[str, object], because: str, by: str, at: datetime
) -> JournalEntry:
    """Write a decision down; see ``Ledger.decide``."""
    written = _written(content)
    with database.writing() as connection:
        book = open_book(connection)
        state = turn_state(book, DECIDE, by, at, (), because=because)
        number = next_number(connection, JOURNAL, "number")
        connection.execute(insert(JOURNAL).values(number=number, state=state, subject=subject, content=written))
    return JournalEntry(number, subject, _read(written), because, by, at, state)


def take_back(database: Database, number: int, because: str, by: str, at: datetime) -> JournalEntry:
    """Take a decision back; see ``Ledger.take_back``."""
    with database.writing() as connection:
        book = open_book(connection)
        _check_stands(connection, number)
        state = turn_state(book, TAKE_BACK, by, at, (), because=because)
        connection.execute(insert(TAKEN_BACK).values(number=number, state=state))
        (entry,) = _entries(connection, _query().where(JOURNAL.c.number == number))
    return entry


def journal(connection: Connection, subject: str | None, *, standing: bool) -> tuple[JournalEntry, ...]:
    """Return the decisions in order; see ``Ledger.journal``."""
    query = _query()
    if subject is not None:
        query = query.where(JOURNAL.c.subject == subject)
    if standing:
        query = query.where(TAKEN_BACK.c.number.is_(None))
    return _entries(connection, query.order_by(JOURNAL.c.number))


def _check_stands(connection: Connection, number: int) -> None:
    """Refuse a decision that is not there or was taken back before."""
    found = _entries(connection, _query().where(JOURNAL.c.number == number))
    if not found:
        known = [str(entry.number) for entry in journal(connection, None, standing=True)]
        allowed = f"one of the decisions that stand ({', '.join(known)})" if known else "a decision that stands"
        raise ValueError(f"Ledger.take_back: number must be that of {allowed}, got {number}")
    back = found[0].taken_back
    if back is not None:
        raise ValueError(
            f"Ledger.take_back: number must be that of a decision that stands, got {number}, which {back.by} took"
            f" back on {back.at.day} {back.at:%B %Y}"
        )


def _query() -> Select[Any]:
    """Return the query for decisions with who, when and why, for making them and for taking them back."""
    made, undone = STATES.alias("made"), STATES.alias("undone")
    return (
        select(JOURNAL, made.c.by, made.c.at, made.c.because)
        .add_columns(undone.c.state.label("back"), undone.c.by.label("back_by"), undone.c.at.label("back_at"))
        .add_columns(undone.c.because.label("back_because"))
        .join(made, made.c.state == JOURNAL.c.state)
        .outerjoin(TAKEN_BACK, TAKEN_BACK.c.number == JOURNAL.c.number)
        .outerjoin(undone, undone.c.state == TAKEN_BACK.c.state)
    )


def _entries(connection: Connection, query: Select[Any]) -> tuple[JournalEntry, ...]:
    return tuple(_entry(row) for row in connection.execute(query))


def _entry(row: Row[Any]) -> JournalEntry:
    back = None
    if row.back is not None:
        back = TakenBack(row.back, row.back_by, datetime.fromisoformat(row.back_at), row.back_because)
    return JournalEntry(
        row.number, row.subject, _read(row.content), row.because, row.by, datetime.fromisoformat(row.at), row.state,
        back,
    )  # fmt: skip


def _written(content: Mapping[str, object]) -> str:
    """Return a decision's content as JSON text.

    Raises
    ------
    ValueError
        If it is not a JSON object.
    """
    if not isinstance(content, Mapping) or not all(isinstance(name, str) for name in content):
        raise ValueError(f"Ledger.decide: content must be a mapping from names to values, got {content!r}")
    try:
        return json.dumps(dict(content), allow_nan=False)
    except (TypeError, ValueError) as error:
        raise ValueError(
            f"Ledger.decide: content must be what JSON can say (texts, finite numbers, true, false, null, lists and"
            f" objects of them), got {content!r}"
        ) from error


def _read(written: str) -> Mapping[str, object]:
    return MappingProxyType(json.loads(written))
