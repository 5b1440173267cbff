"""What do the files on record say of these things?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Connection, Table, exists, literal_column, select, text

from analysis.ledger.book import Book
from analysis.ledger.packing import Packed, pack_rows, stack
from analysis.ledger.reading import plain_rows
from analysis.ledger.tables import KindTables

__all__ = ["Claims", "Origin", "conditions_on_keys", "has_rows", "join_claims", "load_claims", "make_ready_to_find"]

_CHUNK = 10_000  # keys that stand in one statement

Indices = npt.NDArray[np.int64]


class Origin(IntEnum):
    """Where a claim comes from: a row on record, a pointer to a row that said the same, a row made by filling the
    blanks of one from others, or a row that is being offered."""

    ROW = 0
    REPEAT = 1
    FILLED = 2
    OFFERED = 3


@dataclass(frozen=True)
class Claims:
    """Rows that speak of the same things.

    ``about`` has a line for each row of ``packed``: key, content, record (that of the row it repeats for a repeat, and
    -1 for an offered row), origin, intake, family, active (its intake was not withdrawn), current (it stands, alone or
    in conflict), conflict (its number, 0 for none). ``packed.sheet`` is the sheet's number in the ledger.
    """

    packed: Packed
    about: pd.DataFrame

    def __len__(self) -> int:
        return len(self.about)

    def take(self, rows: Indices) -> Claims:
        """Return those rows only."""
        return Claims(self.packed.take(rows), self.about.iloc[rows].reset_index(drop=True))


def has_rows(connection: Connection, table: Table) -> bool:
    """Return whether anything is in a table."""
    return bool(connection.execute(select(exists(select(literal_column("1")).select_from(table)))).scalar_one())


def make_ready_to_find(connection: Connection, tables: KindTables) -> None:
    """Make the look-up by key fast. The first intake of a kind is written without it, since nothing is looked up."""
    quote = connection.dialect.identifier_preparer.quote
    for table in (tables.records, tables.repeats):
        name = f"{table.name}_by_key"
        connection.execute(text(f"CREATE INDEX IF NOT EXISTS {quote(name)} ON {quote(table.name)} ({quote('key')})"))


def conditions_on_keys(connection: Connection, keys: Indices) -> Iterator[str]:
    """Give conditions that hold for rows with one of the keys, some keys at a time."""
    quoted = connection.dialect.identifier_preparer.quote("key")
    if not len(keys):
        yield "1 = 0"
    for start in range(0, len(keys), _CHUNK):
        numbers = ", ".join(map(str, keys[start : start + _CHUNK].tolist()))
        yield f"{quoted} IN ({numbers})"


def _rows_with_keys(
    connection: Connection, table: Table, columns: Sequence[str], keys: Indices
) -> list[tuple[Any, ...]]:
    """Return the rows of a table that have one of the keys."""
    quote = connection.dialect.identifier_preparer.quote
    select_from = f"SELECT {', '.join(quote(name) for name in columns)} FROM {quote(table.name)}"
    conditions = conditions_on_keys(connection, keys)
    return [row for condition in conditions for row in plain_rows(connection, f"{select_from} WHERE {condition}")]


def load_claims(book: Book, tables: KindTables, keys: Indices) -> Claims:
    """Return every claim that stands behind the things with these keys, and what stands of them.

    What withdrawn intakes said is left out, but for rows of one that is being withdrawn and that stand till then.
    """
    rows = _rows(book, tables, keys)
    repeats = _repeats(book, tables, keys, rows)
    counted = rows.about["current"] | (rows.about["active"] & rows.about["origin"].ne(Origin.FILLED))
    return join_claims([rows.take(np.flatnonzero(counted.to_numpy())), repeats])


def join_claims(parts: Sequence[Claims]) -> Claims:
    """Return the claims of every part, one after the other."""
    about = pd.concat([part.about for part in parts], ignore_index=True)
    return Claims(stack([part.packed for part in parts]), about)


def _rows(book: Book, tables: KindTables, keys: Indices) -> Claims:
    """Return every row with these keys, of withdrawn intakes too."""
    names = (*tables.content, "sheet", "source_row", "record", "key", "content", "until", "conflict", "filled")
    found = _rows_with_keys(book.connection, tables.records, names, keys)
    columns = dict(zip(names, zip(*found, strict=True), strict=True)) if found else dict.fromkeys(names, ())
    packed = pack_rows(tables.kind, columns)
    about = pd.DataFrame(
        {
            "key": np.array(columns["key"], dtype=np.int64),
            "content": np.array(columns["content"], dtype=np.int64),
            "record": np.array(columns["record"], dtype=np.int64),
            "origin": np.where(np.array(columns["filled"], dtype=bool), Origin.FILLED, Origin.ROW).astype(np.int64),
            "intake": book.intake_of(packed.sheet),
            "family": book.family_of(packed.sheet),
            "active": book.is_active(packed.sheet),
            "current": np.array([until is None for until in columns["until"]], dtype=bool),
            "conflict": np.array([number or 0 for number in columns["conflict"]], dtype=np.int64),
        }
    )
    return Claims(packed, about)


def _repeats(book: Book, tables: KindTables, keys: Indices, rows: Claims) -> Claims:
    """Return the claims that say what another row says."""
    pointers = _rows_with_keys(book.connection, tables.repeats, ("record", "sheet", "source_row"), keys)
    found = np.array(pointers, dtype=np.int64).reshape(-1, 3)
    found = found[book.is_active(found[:, 1])]
    claims = rows.take(pd.Index(rows.about["record"]).get_indexer(pd.Index(found[:, 0])).astype(np.int64))
    packed = Packed(claims.packed.kind, claims.packed.columns, found[:, 1], found[:, 2])
    about = claims.about.assign(
        origin=np.int64(Origin.REPEAT),
        intake=book.intake_of(found[:, 1]),
        family=book.family_of(found[:, 1]),
        active=True,
        current=False,
        conflict=np.int64(0),
    )
    return Claims(packed, about)
