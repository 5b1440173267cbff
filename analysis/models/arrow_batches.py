"""In which batches do the rows of an Arrow table or a Parquet file come?"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeAlias

import pyarrow as pa
import pyarrow.parquet as pq

from analysis.models.shared_setting import SharedSetting

__all__ = ["ArrowSource", "batches", "is_text", "schema_of"]

ArrowSource: TypeAlias = pa.Table | pa.RecordBatch | str | Path


def _system_pool() -> Callable[[], object]:
    before = pa.default_memory_pool()
    pa.set_memory_pool(pa.system_memory_pool())
    return lambda: pa.set_memory_pool(before)


_SYSTEM_POOL = SharedSetting(_system_pool)  # Arrow's own sets 14 MB aside, however little is read


def schema_of(source: ArrowSource) -> pa.Schema:
    """The columns and their types; a path is that of a Parquet file."""
    if not isinstance(source, str | Path):
        return source.schema
    with _SYSTEM_POOL, pa.OSFile(str(source)) as file:
        return pq.read_schema(file)


def batches(
    source: ArrowSource, columns: Sequence[str], batch_rows: int, coded: Sequence[str] = ()
) -> Iterator[pa.RecordBatch]:
    """Yield those of the columns that the source has, at most ``batch_rows`` rows at a time.

    On one thread and without reading ahead, which holds the least memory.

    Parameters
    ----------
    coded : sequence of column names
        Text columns of a Parquet file to read as dictionaries, as they are stored.
    """
    if isinstance(source, str | Path):
        yield from _read(str(source), columns, batch_rows, coded)
    else:
        table = pa.Table.from_batches([source]) if isinstance(source, pa.RecordBatch) else source
        present = [name for name in columns if name in table.column_names]
        yield from table.select(present).to_batches(max_chunksize=batch_rows)


def _read(path: str, columns: Sequence[str], batch_rows: int, coded: Sequence[str]) -> Iterator[pa.RecordBatch]:
    """The batches of a Parquet file; between them the process has its own pool."""
    with _SYSTEM_POOL:
        raw = pa.OSFile(path)  # takes its room from the pool that there was when it was opened
    with raw:
        with _SYSTEM_POOL:
            file = pq.ParquetFile(raw, read_dictionary=list(coded), pre_buffer=False)
            present = [name for name in columns if name in file.schema_arrow.names]
            parts = file.iter_batches(batch_size=batch_rows, columns=present, use_threads=False)
            batch = next(parts, None)
        while batch is not None:
            yield batch
            with _SYSTEM_POOL:
                batch = next(parts, None)


def is_text(kind: pa.DataType) -> bool:
    """Whether a column holds text, plainly or by a dictionary."""
    plain = kind.value_type if pa.types.is_dictionary(kind) else kind
    return bool(pa.types.is_string(plain) or pa.types.is_large_string(plain) or pa.types.is_string_view(plain))
