"""How are a source's rows added up, whatever it is?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from analysis import models
from analysis.models.arrow_batches import ArrowSource
from analysis.models.arrow_rows import rows_of_bare_columns
from analysis.models.cross_products import Accumulator, CrossProducts
from analysis.models.design import Design, Rows
from analysis.models.formula import ModelFormula
from analysis.models.threads import one_thread

if TYPE_CHECKING:
    from analysis.models.sources import Source

__all__ = ["accumulate"]

_CHUNK_ROWS = 50_000


@one_thread()
def accumulate(
    formula: str | ModelFormula | Design,
    source: Source,
    *,
    levels: Mapping[str, Sequence[Any]] | None = None,
    chunk_rows: int = _CHUNK_ROWS,
) -> CrossProducts:
    """Add up a formula's cross products over a frame, Arrow table or batches, Parquet file, or any chunks.

    Where the formula names bare columns of an Arrow table or Parquet file, neither pandas nor formulaic is loaded.

    Parameters
    ----------
    levels : mapping of column to levels
        The categories of the fixed part, needed only where the chunks come from an iterator and a later chunk holds
        a category that the first one lacks.
    chunk_rows : int
        How many rows of a frame, table or file are held at once.

    Raises
    ------
    ValueError
        If a column is missing, a category comes that was not announced, or a value is not finite.
    CannotFitError
        If no row is complete.
    """
    design, parts = _read(formula, source, levels, chunk_rows)
    accumulator = Accumulator(design)
    for rows in parts:
        accumulator.add_rows(rows)
    return accumulator.result()


def _read(
    formula: str | ModelFormula | Design, source: Source, levels: Mapping[str, Sequence[Any]] | None, chunk_rows: int
) -> tuple[Design, Iterator[Rows]]:
    if not levels and not isinstance(formula, Design) and isinstance(source, ArrowSource):
        bare = rows_of_bare_columns(formula, source, chunk_rows)
        if bare is not None:
            return bare
    return models.frame_rows.rows_of_chunks(formula, source, levels, chunk_rows)
