"""How are many rows read from a table at once?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pandas as pd
from sqlalchemy import Boolean, Connection, Select, Table

__all__ = ["plain_rows", "read_numbers", "streamed_rows"]

_BATCH = 50_000  # rows that stand as Python objects at one time


def plain_rows(connection: Connection, statement: str) -> list[tuple[Any, ...]]:
    """Return the rows of a statement as the driver gives them: a million rows need no names on each."""
    with connection.exec_driver_sql(statement) as result:
        cursor: Any = result.cursor
        return list(cursor.fetchall())


def streamed_rows(connection: Connection, query: Select[Any]) -> Iterator[list[tuple[Any, ...]]]:
    """Give the rows of a query some at a time, as the driver gives them."""
    with connection.execute(query) as result:
        cursor: Any = result.cursor
        while rows := cursor.fetchmany(_BATCH):
            yield rows


def read_numbers(connection: Connection, table: Table, names: Sequence[str], where: str = "") -> pd.DataFrame:
    """Return columns of whole numbers.

    Parameters
    ----------
    connection : Connection
        Inside a transaction.
    table : Table
        The table.
    names : sequence of str
        Columns of whole numbers, or yes and no.
    where : str
        A condition of nothing but numbers and names.

    Returns
    -------
    DataFrame of int64
        A blank is 0, and so is a no.
    """
    quote = connection.dialect.identifier_preparer.quote
    told = ", ".join(
        f"CASE WHEN {quote(name)} THEN 1 ELSE 0 END"
        if isinstance(table.c[name].type, Boolean)
        else f"COALESCE({quote(name)}, 0)"
        for name in names
    )
    parts = [np.zeros((0, len(names)), dtype=np.int64)]
    statement = f"SELECT {told} FROM {quote(table.name)}" + (f" WHERE {where}" if where else "")
    with connection.exec_driver_sql(statement) as result:
        cursor: Any = result.cursor
        while rows := cursor.fetchmany(_BATCH):
            parts.append(np.array(rows, dtype=np.int64))
    return pd.DataFrame(np.concatenate(parts), columns=list(names))
