"""How are many rows put into a table at once?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import repeat
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection, Table

from analysis.ledger.packing import PackedColumn

__all__ = ["Cells", "append_rows"]

_SLICE = 20_000  # rows that stand as Python objects at one time

Cells = PackedColumn | npt.NDArray[np.integer[Any]] | int | bool | None


def append_rows(connection: Connection, table: Table, columns: Sequence[tuple[str, Cells]], rows: int) -> None:
    """Append rows to a table, column by column.

    Parameters
    ----------
    connection : Connection
        Inside a transaction.
    table : Table
        The table; a column that is not named stays empty.
    columns : sequence of (str, cells)
        A column's name and its cells: a packed column or whole numbers, shape (rows,), or one value for all rows.
    rows : int
        How many rows.
    """
    if not rows:
        return
    told = [(name, _simplest(cells)) for name, cells in columns]
    varying = [(name, cells) for name, cells in told if isinstance(cells, PackedColumn | np.ndarray)]
    constant = [(name, cells) for name, cells in told if not isinstance(cells, PackedColumn | np.ndarray)]
    slices = (_tuples([cells for _, cells in varying], part) for part in _parts(rows))
    if connection.dialect.name == "sqlite":
        _insert(connection, table, [name for name, _ in varying], constant, slices)
    else:
        _copy(connection, table, [name for name, _ in varying], constant, slices)


def _simplest(cells: Cells) -> Cells:
    """Return one value in place of a column that holds nothing else: it need not be sent with every row."""
    if isinstance(cells, PackedColumn) and cells.blank.all():
        return None
    if isinstance(cells, np.ndarray) and len(cells) and (cells == cells[0]).all():
        return int(cells[0])
    return cells


def _parts(rows: int) -> Iterator[slice]:
    return (slice(start, min(start + _SLICE, rows)) for start in range(0, rows, _SLICE))


def _tuples(columns: Sequence[Any], part: slice) -> list[tuple[Any, ...]]:
    """Return the rows of a slice."""
    lists = [c.plain(part) if isinstance(c, PackedColumn) else c[part].tolist() for c in columns]
    return list(zip(*lists, strict=True)) if lists else list(repeat((), part.stop - part.start))


def _insert(
    connection: Connection,
    table: Table,
    names: Sequence[str],
    constant: Sequence[tuple[str, Any]],
    slices: Iterable[list[tuple[Any, ...]]],
) -> None:
    """Insert into SQLite; what is the same in every row stands in the statement."""
    quote = connection.dialect.identifier_preparer.quote
    columns = ", ".join(quote(name) for name in (*names, *(name for name, _ in constant)))
    values = ", ".join([*("?" for _ in names), *("NULL" if v is None else str(int(v)) for _, v in constant)])
    statement = f"INSERT INTO {quote(table.name)} ({columns}) VALUES ({values})"
    for rows in slices:
        connection.exec_driver_sql(statement, rows)


def _copy(
    connection: Connection,
    table: Table,
    names: Sequence[str],
    constant: Sequence[tuple[str, Any]],
    slices: Iterable[list[tuple[Any, ...]]],
) -> None:
    """Copy into PostgreSQL."""
    quote = connection.dialect.identifier_preparer.quote
    told = [(name, value) for name, value in constant if value is not None]
    columns = ", ".join(quote(name) for name in (*names, *(name for name, _ in told)))
    tail = tuple(value for _, value in told)
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY {quote(table.name)} ({columns}) FROM STDIN") as copy:
        for rows in slices:
            for row in rows:
                copy.write_row(row + tail)
