"""How is a change written?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import (
    BigInteger,
    ColumnElement,
    Connection,
    Table,
    bindparam,
    delete,
    func,
    insert,
    literal_column,
    select,
    update,
)

from analysis.ledger.book import Book
from analysis.ledger.changes import Addition, Changes
from analysis.ledger.tables import KIND_TABLES, KindTables
from analysis.ledger.writing import Cells, append_rows

__all__ = ["apply_changes"]

_CHUNK = 2_000  # records that stand in one statement

Indices = npt.NDArray[np.int64]


def apply_changes(book: Book, changes: Changes) -> None:
    """Write the changes of one kind, as part of the state that the transaction makes."""
    tables, state = KIND_TABLES[changes.kind], book.next_state
    for part in _among(tables.records, changes.ended):
        book.connection.execute(update(tables.records).where(part).values(until=state))
    _let_stand(book.connection, tables, changes.standing, state)
    for addition in changes.additions:
        _add(book.connection, tables, addition, state)
    _point(book.connection, tables, changes.repeats)
    _remove_pointers(book.connection, tables, changes.promoted)


def _among(table: Table, records: Indices) -> Iterator[ColumnElement[bool]]:
    """Give conditions that hold for the rows with these records, some at a time."""
    for start in range(0, len(records), _CHUNK):
        numbers = [literal_column(str(record), BigInteger) for record in records[start : start + _CHUNK].tolist()]
        yield table.c.record.in_(numbers)


def _let_stand(connection: Connection, tables: KindTables, standing: pd.DataFrame, state: int) -> None:
    """Begin a new span for rows on record, and put away the span that they had."""
    rows, past = tables.records, tables.past
    until = func.coalesce(rows.c.until, state)
    for part in _among(rows, standing["record"].to_numpy(dtype=np.int64)):
        spans = select(rows.c.record, rows.c.since, until, rows.c.conflict).where(part, rows.c.since < until)
        connection.execute(insert(past).from_select(["record", "since", "until", "conflict"], spans))
        connection.execute(update(rows).where(part).values(since=state, until=None, conflict=None))
    labelled = standing[standing["conflict"] > 0]
    if len(labelled):
        statement = update(rows).where(rows.c.record == bindparam("row")).values(conflict=bindparam("number"))
        pairs = zip(labelled["record"].tolist(), labelled["conflict"].tolist(), strict=True)
        connection.execute(statement, [{"row": row, "number": number} for row, number in pairs])


def _add(connection: Connection, tables: KindTables, addition: Addition, state: int) -> None:
    """Append rows; those that do not stand get an empty span."""
    packed = addition.packed
    columns: list[tuple[str, Cells]] = [
        ("record", addition.record),
        *((column.name, column) for column in packed.columns),
        ("sheet", packed.sheet),
        ("source_row", packed.source_row),
        ("key", addition.marks.key),
        ("content", addition.marks.content),
        ("since", state),
        ("until", None if addition.stands else state),
        ("filled", addition.filled),
    ]
    if addition.conflict is None or not addition.conflict.any():
        append_rows(connection, tables.records, [*columns, ("conflict", None)], len(packed))
        return
    for conflicting in (False, True):
        rows = np.flatnonzero((addition.conflict > 0) == conflicting)
        number: Cells = addition.conflict[rows] if conflicting else None
        part = [(name, _taken(cells, rows)) for name, cells in columns]
        append_rows(connection, tables.records, [*part, ("conflict", number)], len(rows))


def _taken(cells: Cells, rows: Indices) -> Cells:
    if isinstance(cells, np.ndarray):
        return cells[rows]
    return cells if cells is None or isinstance(cells, int) else cells.take(rows)


def _point(connection: Connection, tables: KindTables, repeats: pd.DataFrame) -> None:
    columns: list[tuple[str, Cells]] = [(str(name), repeats[name].to_numpy(dtype=np.int64)) for name in repeats.columns]
    append_rows(connection, tables.repeats, columns, len(repeats))


def _remove_pointers(connection: Connection, tables: KindTables, promoted: pd.DataFrame) -> None:
    """Take away the pointers of claims that now have a row of their own."""
    if not len(promoted):
        return
    pointers = tables.repeats.c
    statement = delete(tables.repeats).where(
        pointers.key == bindparam("of"), pointers.record == bindparam("row"), pointers.sheet == bindparam("on"),
        pointers.source_row == bindparam("at"),
    )  # fmt: skip
    lines: list[dict[str, Any]] = promoted.rename(
        columns={"key": "of", "record": "row", "sheet": "on", "source_row": "at"}
    ).to_dict("records")  # type: ignore[assignment]
    connection.execute(statement, lines)
