"""In which chunks do the rows come?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeAlias

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq

__all__ = ["Source", "chunks", "text_levels"]

Source: TypeAlias = "pd.DataFrame | pa.Table | pa.RecordBatch | str | Path | Iterable[pd.DataFrame | pa.RecordBatch]"


def chunks(source: Source, columns: Sequence[str] | None, chunk_rows: int) -> Iterator[pd.DataFrame]:
    """Yield the rows as frames of at most ``chunk_rows`` rows; a path is read as Parquet, column by column.

    An iterable's own chunks are taken as they come.
    """
    if isinstance(source, pd.DataFrame):
        frame = source
        for start in range(0, max(len(frame), 1), chunk_rows):
            yield frame if len(frame) <= chunk_rows else frame.iloc[start : start + chunk_rows]
    elif isinstance(source, pa.Table | pa.RecordBatch):
        table = pa.Table.from_batches([source]) if isinstance(source, pa.RecordBatch) else source
        present = [name for name in columns or table.column_names if name in table.column_names]
        for batch in table.select(present).to_batches(max_chunksize=chunk_rows):
            yield batch.to_pandas()
    elif isinstance(source, str | Path):
        with pq.ParquetFile(source) as file:
            present = [name for name in columns or file.schema_arrow.names if name in file.schema_arrow.names]
            for batch in file.iter_batches(batch_size=chunk_rows, columns=present):
                yield batch.to_pandas()
    else:
        rest: Iterable[Any] = source
        for chunk in rest:
            yield chunk if isinstance(chunk, pd.DataFrame) else chunk.to_pandas()


def text_levels(source: Source, columns: Sequence[str], chunk_rows: int) -> Mapping[str, tuple[Any, ...]]:
    """The levels of each text column of a source that can be read twice; none for an iterable of chunks."""
    if not isinstance(source, pa.Table | pa.RecordBatch | str | Path):
        return {}
    schema = pq.read_schema(source) if isinstance(source, str | Path) else source.schema
    texts = [name for name in columns if name in schema.names and _is_text(schema.field(name).type)]
    found: dict[str, set[Any]] = {name: set() for name in texts}
    for chunk in chunks(source, texts, chunk_rows) if texts else ():
        for name in texts:
            found[name].update(chunk[name].dropna().unique())
    return {name: tuple(sorted(levels)) for name, levels in found.items()}


def _is_text(kind: pa.DataType) -> bool:
    plain = kind.value_type if pa.types.is_dictionary(kind) else kind
    return bool(pa.types.is_string(plain) or pa.types.is_large_string(plain) or pa.types.is_string_view(plain))
