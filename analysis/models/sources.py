"""In which frames do the rows come?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, TypeAlias

import pandas as pd
import pyarrow as pa

from analysis.models.arrow_batches import ArrowSource, batches, is_text, schema_of

__all__ = ["Source", "chunks", "text_levels"]

Source: TypeAlias = ArrowSource | pd.DataFrame | Iterable[pd.DataFrame | pa.RecordBatch]


def chunks(source: Source, columns: Sequence[str], chunk_rows: int) -> Iterator[pd.DataFrame]:
    """Yield the columns that the source has as frames of at most ``chunk_rows`` rows; a path is read as Parquet.

    An iterable's own chunks are taken as they come.
    """
    if isinstance(source, pd.DataFrame):
        for start in range(0, max(len(source), 1), chunk_rows):
            yield source if len(source) <= chunk_rows else source.iloc[start : start + chunk_rows]
    elif isinstance(source, ArrowSource):
        for batch in batches(source, columns, chunk_rows):
            yield batch.to_pandas()
    else:
        rest: Any = source
        for chunk in rest:
            yield chunk if isinstance(chunk, pd.DataFrame) else chunk.to_pandas()


def text_levels(source: Source, columns: Sequence[str], chunk_rows: int) -> Mapping[str, tuple[Any, ...]]:
    """The levels of each text column of a source that can be read twice; none for an iterable of chunks."""
    if not isinstance(source, ArrowSource):
        return {}
    schema = schema_of(source)
    texts = [name for name in columns if name in schema.names and is_text(schema.field(name).type)]
    found: dict[str, set[Any]] = {name: set() for name in texts}
    for chunk in chunks(source, texts, chunk_rows) if texts else ():
        for name in texts:
            found[name].update(chunk[name].dropna().unique())
    return {name: tuple(sorted(levels)) for name, levels in found.items()}
