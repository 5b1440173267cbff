"""How do the rows of a kind become a frame?"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
from sqlalchemy import Connection, Select, select

from analysis.ledger.database import Database
from analysis.ledger.tables import FILES, KIND_TABLES, SHEETS, KindTables
from analysis.records import kinds

__all__ = ["empty_table", "frame_of", "frame_schema", "read_rows"]

_BATCH = 50_000  # rows that stand as Python objects at one time
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


def frame_schema(kind: kinds.Kind) -> pa.Schema:
    """Return the columns of a kind's frame."""
    fields = [(column.name, _ARROW[column.type]) for column in kind.columns]
    fields += [("extra", pa.string()), ("record", pa.int64()), ("intake", pa.int64())]
    return pa.schema([*fields, ("file", _NAME), ("sheet", _NAME), ("source_row", pa.int32())])


def empty_table(kind: kinds.Kind) -> pa.Table:
    """Return the table of a kind with nothing on record."""
    return frame_schema(kind).empty_table()


def frame_of(table: pa.Table) -> pd.DataFrame:
    """Return a table of records as a frame."""
    frame: pd.DataFrame = table.to_pandas()
    return frame


def read_rows(database: Database, kind: str, state: int) -> pa.Table:
    """Return the records of a kind that stood uncontradicted in a state, in the order in which they were taken in."""
    tables = KIND_TABLES[kind]
    with database.reading() as connection:
        sources = _sources(connection)
        batches = [
            _table(tables, rows, sources) for query in _standing(tables, state) for rows in _read(connection, query)
        ]
    if not batches:
        return empty_table(tables.kind)
    table = pa.concat_tables(batches).unify_dictionaries()
    record = table["record"].to_numpy()
    return table if bool((np.diff(record) > 0).all()) else table.take(np.argsort(record, kind="stable"))


def _standing(tables: KindTables, state: int) -> tuple[Select[Any], Select[Any]]:
    """Return the queries for the rows whose span holds the state, by their last span and by earlier ones."""
    records, past = tables.records.c, tables.past.c
    columns = [records[name] for name in (*tables.content, "record", "sheet", "source_row")]
    last = select(*columns).where(
        records.since <= state,
        records.until.is_(None) | (records.until > state),
        records.conflict.is_(None),
    )
    earlier = (
        select(*columns)
        .join(tables.past, past.record == records.record)
        .where(past.since <= state, past.until > state, past.conflict.is_(None))
    )
    return last.order_by(records.record), earlier.order_by(records.record)


def _read(connection: Connection, query: Select[Any]) -> Any:
    result = connection.execution_options(stream_results=True).execute(query)
    return result.partitions(_BATCH)


def _sources(connection: Connection) -> pd.DataFrame:
    """Return the intake, file and name of every sheet."""
    query = select(SHEETS.c.sheet, SHEETS.c.intake, FILES.c.name.label("file"), SHEETS.c.name).join(FILES)
    rows = connection.execute(query).all()
    return pd.DataFrame(rows, columns=["sheet", "intake", "file", "name"]).set_index("sheet")


def _table(tables: KindTables, rows: Any, sources: pd.DataFrame) -> pa.Table:
    """Return rows as a table with the frame's columns."""
    schema = frame_schema(tables.kind)
    cells = dict(zip((*tables.content, "record", "sheet", "source_row"), zip(*rows, strict=True), strict=True))
    places = sources.index.get_indexer(pd.Index(cells.pop("sheet")))
    source = sources.take(places)
    arrays = {name: pa.array(values, type=schema.field(name).type) for name, values in cells.items()}
    arrays["intake"] = pa.array(source["intake"].to_numpy(dtype=np.int64))
    arrays["file"] = pa.array(source["file"], type=pa.string()).dictionary_encode()
    arrays["sheet"] = pa.array(source["name"], type=pa.string()).dictionary_encode()
    return pa.table([arrays[name] for name in schema.names], schema=schema)
