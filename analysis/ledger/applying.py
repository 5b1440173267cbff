"""How is a change written?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Connection, bindparam, delete, update

from analysis.ledger.book import Book
from analysis.ledger.changes import Addition, Changes
from analysis.ledger.packing import PackedColumn
from analysis.ledger.tables import KIND_TABLES, KindTables
from analysis.ledger.writing import Cells, append_rows

__all__ = ["apply_changes"]

_CHUNK = 10_000  # records that stand in one statement

Indices = npt.NDArray[np.int64]


def apply_changes(book: Book, changes: Changes) -> None:
    """Write the changes of one kind, as part of the state that the transaction makes."""
    tables, state = KIND_TABLES[changes.kind], book.next_state
    for part in _among(changes.ended):
        _run(book.connection, f"UPDATE {{records}} SET until = {state} WHERE record IN ({part})", tables)
    _let_stand(book.connection, tables, changes.standing, state)
    for addition in changes.additions:
        _add(book.connection, tables, addition, state)
    _point(book.connection, tables, changes.repeats)
    _remove_pointers(book.connection, tables, changes.promoted)


def _among(records: Indices) -> Iterator[str]:
    """Give records as they stand in a list of a statement, some at a time."""
    for start in range(0, len(records), _CHUNK):
        yield ", ".join(map(str, records[start : start + _CHUNK].tolist()))


def _run(connection: Connection, statement: str, tables: KindTables) -> None:
    """Run a statement of nothing but numbers and names: written out, it is many times faster than bound."""
    quote = connection.dialect.identifier_preparer.quote
    names = {"records": quote(tables.records.name), "past": quote(tables.past.name)}
    connection.exec_driver_sql(statement.format(**names))


def _let_stand(connection: Connection, tables: KindTables, standing: pd.DataFrame, state: int) -> None:
    """Begin a new span for rows on record, and put away the span that they had."""
    until = f"COALESCE(until, {state})"
    for part in _among(standing["record"].to_numpy(dtype=np.int64)):
        spans = f"SELECT record, since, {until}, conflict FROM {{records}} WHERE record IN ({part}) AND since < {until}"
        _run(connection, f"INSERT INTO {{past}} (record, since, until, conflict) {spans}", tables)
        now = f"since = {state}, until = NULL, conflict = NULL"
        _run(connection, f"UPDATE {{records}} SET {now} WHERE record IN ({part})", tables)
    labelled = standing[standing["conflict"] > 0]
    if len(labelled):
        rows = tables.records
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
    """Return the cells of those rows; one value for all rows is what it is."""
    if isinstance(cells, np.ndarray):
        return cells[rows]
    return cells.take(rows) if isinstance(cells, PackedColumn) else cells


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
