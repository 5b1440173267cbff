"""How do the rows of a kind become a frame?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from sqlalchemy import Connection, Select, select

from analysis.ledger.database import Database
from analysis.ledger.reading import streamed_rows
from analysis.ledger.tables import FILES, KIND_TABLES, SHEETS, KindTables
from analysis.records import kinds

__all__ = ["frame_of", "frame_schema", "read_rows"]

_ARROW = {
    "id": pa.string(),
    "text": pa.string(),
    "choice": pa.string(),
    "number": pa.float64(),
    "count": pa.float64(),
    "date": pa.timestamp("us"),
    "moment": pa.timestamp("us"),
}
_NAME = pa.dictionary(pa.int32(), pa.string())


def frame_schema(kind: kinds.Kind, *, conflicting: bool = False) -> pa.Schema:
    """Return the columns of a kind's frame; that of the rows in conflict begins with the conflict's number."""
    fields = [("conflict", pa.int64())] if conflicting else []
    fields += [(column.name, _ARROW[column.type]) for column in kind.columns]
    fields += [("extra", pa.string()), ("record", pa.int64()), ("intake", pa.int64())]
    return pa.schema([*fields, ("file", _NAME), ("sheet", _NAME), ("source_row", pa.int32())])


def frame_of(table: pa.Table) -> pd.DataFrame:
    """Return a table of records as a frame."""
    frame: pd.DataFrame = table.to_pandas()
    return frame


def read_rows(database: Database, kind: str, state: int, *, conflicting: bool = False) -> pa.Table:
    """Return the records of a kind that stood in a state, in the order in which they were taken in.

    Parameters
    ----------
    database : Database
        The ledger's database.
    kind : str
        The kind of record.
    state : int
        The state of the ledger.
    conflicting : bool
        Whether the rows that stood in conflict are wanted, or those that stood uncontradicted.
    """
    tables = KIND_TABLES[kind]
    schema = frame_schema(tables.kind, conflicting=conflicting)
    with database.reading() as connection:
        sources = _sources(connection)
        batches = [
            _table(schema, query.selected_columns.keys(), rows, sources)
            for query in _standing(tables, state, conflicting)
            for rows in streamed_rows(connection, query)
        ]
    if not batches:
        return schema.empty_table()
    table = pa.concat_tables(batches).unify_dictionaries()
    record = table["record"].to_numpy()
    return table if bool((np.diff(record) > 0).all()) else table.take(np.argsort(record, kind="stable"))


def _standing(tables: KindTables, state: int, conflicting: bool) -> tuple[Select[Any], Select[Any]]:
    """Return the queries for the rows whose span holds the state, by their last span and by earlier ones."""
    rows, past = tables.records.c, tables.past.c
    columns = [rows[name] for name in (*tables.content, "record", "sheet", "source_row")]
    held = rows.conflict.is_not(None) if conflicting else rows.conflict.is_(None)
    past_held = past.conflict.is_not(None) if conflicting else past.conflict.is_(None)
    last = select(*columns, rows.conflict).where(rows.since <= state, rows.until.is_(None) | (rows.until > state), held)
    earlier = (
        select(*columns, past.conflict)
        .join(tables.past, past.record == rows.record)
        .where(past.since <= state, past.until > state, past_held)
    )
    return last.order_by(rows.record), earlier.order_by(rows.record)


def _sources(connection: Connection) -> pd.DataFrame:
    """Return the intake, file and name of every sheet."""
    query = select(SHEETS.c.sheet, SHEETS.c.intake, FILES.c.name.label("file"), SHEETS.c.name).join(FILES)
    rows = connection.execute(query).all()
    return pd.DataFrame(rows, columns=["sheet", "intake", "file", "name"]).set_index("sheet")


def _table(schema: pa.Schema, names: Sequence[str], rows: Sequence[tuple[Any, ...]], sources: pd.DataFrame) -> pa.Table:
    """Return rows as a table with the frame's columns."""
    cells = dict(zip(names, zip(*rows, strict=True), strict=True))
    source = sources.take(sources.index.get_indexer(pd.Index(cells["sheet"])))
    made = {
        "intake": pa.array(source["intake"].to_numpy(dtype=np.int64)),
        "file": pa.array(source["file"], type=pa.string()).dictionary_encode(),
        "sheet": pa.array(source["name"], type=pa.string()).dictionary_encode(),
    }
    arrays = [made[f.name] if f.name in made else pa.array(cells[f.name], type=f.type) for f in schema]
    return pa.table(arrays, schema=schema)
