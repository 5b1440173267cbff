"""How are many rows put into a table at once?"""

from __future__ import annotations

import gc
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection, Table

from analysis.ledger.packing import PackedColumn

__all__ = ["Cells", "append_rows"]

_SLICE = 20_000  # rows that stand as Python objects at one time
_TOGETHER = 20  # rows that one statement inserts into SQLite: a quarter faster than one by one

Block = npt.NDArray[np.object_]
Cells = PackedColumn | npt.NDArray[np.integer[Any]] | str | int | bool | None


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
    blocks = (_block([cells for _, cells in varying], part) for part in _parts(rows))
    write = _insert if connection.dialect.name == "sqlite" else _copy
    with _uncollected():
        write(connection, table, [name for name, _ in varying], constant, blocks)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Look for no cycles among millions of cells, which hold none: looking costs a sixth of the writing."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _simplest(cells: Cells) -> Cells:
    """Return one value in place of a column that holds nothing else: it need not be sent with every row."""
    if isinstance(cells, PackedColumn):
        first = cells.plain(slice(0, 1)).tolist()[0]
        same = cells.blank.all() if first is None else (cells.values == cells.values[0]).all()
        return first if same and not isinstance(first, float) else cells
    if isinstance(cells, np.ndarray) and (cells == cells[0]).all():
        return int(cells[0])
    return cells


def _parts(rows: int) -> Iterator[slice]:
    return (slice(start, min(start + _SLICE, rows)) for start in range(0, rows, _SLICE))


def _block(columns: Sequence[Any], part: slice) -> Block:
    """Return the rows of a slice, shape (rows, columns)."""
    block = np.empty((part.stop - part.start, len(columns)), dtype=object)
    for place, cells in enumerate(columns):
        block[:, place] = cells.plain(part) if isinstance(cells, PackedColumn) else cells[part]
    return block


def _insert(
    connection: Connection,
    table: Table,
    names: Sequence[str],
    constant: Sequence[tuple[str, Any]],
    blocks: Iterable[Block],
) -> None:
    """Insert into SQLite; what is the same in every row stands in the statement."""
    quote = connection.dialect.identifier_preparer.quote
    columns = ", ".join(quote(name) for name in (*names, *(name for name, _ in constant)))
    row = f"({', '.join([*('?' for _ in names), *(_literal(value) for _, value in constant)])})"
    statement = f"INSERT INTO {quote(table.name)} ({columns}) VALUES "
    for block in blocks:
        whole = len(block) - len(block) % _TOGETHER
        if whole:
            groups = block[:whole].reshape(-1, _TOGETHER * len(names)).tolist()
            connection.exec_driver_sql(statement + ", ".join([row] * _TOGETHER), list(map(tuple, groups)))
        if whole < len(block):
            connection.exec_driver_sql(statement + row, list(map(tuple, block[whole:].tolist())))


def _literal(value: str | int | None) -> str:
    """Return a value as it stands in a statement of SQLite."""
    if value is None:
        return "NULL"
    return "'" + value.replace("'", "''") + "'" if isinstance(value, str) else str(int(value))


def _copy(
    connection: Connection,
    table: Table,
    names: Sequence[str],
    constant: Sequence[tuple[str, Any]],
    blocks: Iterable[Block],
) -> None:
    """Copy into PostgreSQL."""
    quote = connection.dialect.identifier_preparer.quote
    told = [(name, value) for name, value in constant if value is not None]
    columns = ", ".join(quote(name) for name in (*names, *(name for name, _ in told)))
    tail = [value for _, value in told]
    driver: Any = connection.connection.driver_connection
    with driver.cursor() as cursor, cursor.copy(f"COPY {quote(table.name)} ({columns}) FROM STDIN") as copy:
        for block in blocks:
            for row in block.tolist():
                copy.write_row(row + tail)
