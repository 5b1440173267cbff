"""Which rows do bare columns of an Arrow table or a Parquet file make?

A formula such as ``y ~ service + (1|s) + (1|d)`` names columns and asks nothing of them for which a frame is needed.
Importing pandas and formulaic takes 47 MB, more than reading and fitting 73,421 ratings does; so these rows are made of
Arrow's columns as they come, text and groups by their dictionaries. Whatever else a formula or a column asks (slopes,
functions, interactions, categories with an order of their own, dates, yes or no) is for ``frame_rows``, whose columns,
names and levels are the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from analysis.models.arrays import Bools, Floats, Ints
from analysis.models.arrow_batches import ArrowSource, batches, is_text, schema_of
from analysis.models.design import CONSTANT, Design, Factor, Rows, check_finite
from analysis.models.formula import BareColumns, ModelFormula, bare_columns, parse_formula
from analysis.models.levels import Labels, check_known, crossed, in_order_of_rows, places_among

__all__ = ["rows_of_bare_columns"]

_MOST_ROWS = 16_384  # adding up so many at once takes 4 MB less than adding up 50,000, and no longer


@dataclass(frozen=True)
class _Reading:
    """Which columns of the batches are numbers, and which have levels."""

    bare: BareColumns
    numbers: tuple[str, ...]
    coded: tuple[str, ...]


def rows_of_bare_columns(
    formula: str | ModelFormula, source: ArrowSource, batch_rows: int
) -> tuple[Design, Iterator[Rows]] | None:
    """Bind a formula to a source's columns and read its complete rows; None where that is for ``frame_rows``."""
    parsed = parse_formula(formula) if isinstance(formula, str) else formula
    bare = bare_columns(parsed)
    if bare is None:
        return None
    schema = schema_of(source)
    reading = _reading(bare, schema)
    if reading is None:
        return None
    batch_rows = min(batch_rows, _MOST_ROWS)
    texts = [name for name in bare.fixed if name not in reading.numbers]
    design = _design(parsed, bare, _text_levels(source, texts, batch_rows))
    coded = [name for name in reading.coded if is_text(schema.field(name).type)]
    parts = batches(source, design.variables, batch_rows, coded)
    return design, (_rows(design, reading, batch) for batch in parts)


def _reading(bare: BareColumns, schema: pa.Schema) -> _Reading | None:
    """How each column is read; None where one is absent, ambiguous, a frame's index, or of another kind."""
    groups = tuple(dict.fromkeys(name for group in bare.groups for name in group))
    wanted = {bare.response, *bare.fixed, *groups}
    index = (schema.pandas_metadata or {}).get("index_columns", [])
    if any(schema.names.count(name) != 1 or name in index or name == CONSTANT for name in wanted):
        return None
    kinds = {name: schema.field(name).type for name in wanted}
    texts = {name for name, kind in kinds.items() if is_text(kind)}
    plain = {name for name in texts if not pa.types.is_dictionary(kinds[name])}
    whole = {name for name, kind in kinds.items() if pa.types.is_integer(kind)}
    numbers = whole | {name for name, kind in kinds.items() if pa.types.is_float32(kind) or pa.types.is_float64(kind)}
    if bare.response not in numbers or not numbers | plain >= set(bare.fixed) or not whole | texts >= set(groups):
        return None
    fixed_texts = [name for name in bare.fixed if name in texts]
    return _Reading(
        bare=bare,
        numbers=(*(name for name in bare.fixed if name in numbers), bare.response),
        coded=tuple(dict.fromkeys([*fixed_texts, *groups])),
    )


def _text_levels(source: ArrowSource, texts: Sequence[str], batch_rows: int) -> Mapping[str, tuple[str, ...]]:
    """The sorted levels of each text column, wherever a row of the source has them."""
    found: dict[str, set[str]] = {name: set() for name in sorted(texts)}
    for batch in batches(source, texts, batch_rows, texts) if texts else ():
        for name, levels in found.items():
            codes, labels = _coded(batch.column(name))
            levels.update(str(labels[code]) for code in np.unique(codes[codes >= 0]).tolist())
    return {name: tuple(sorted(levels)) for name, levels in found.items()}


def _design(parsed: ModelFormula, bare: BareColumns, levels: Mapping[str, tuple[str, ...]]) -> Design:
    whole = _whole(bare, levels)
    names = [name for column in bare.fixed for name in _names(column, levels.get(column), column == whole)]
    return Design(
        formula=parsed,
        names=(CONSTANT, *names, bare.response),
        fixed=(*((CONSTANT,) if bare.constant else ()), *names),
        factors=tuple(Factor(group, (CONSTANT,), ((0, 1),)) for group in bare.groups),
        variables=tuple(sorted({bare.response, *bare.fixed, *(name for group in bare.groups for name in group)})),
        levels=levels,
        spec=None,
        random_specs=((None,),) * len(bare.groups),
    )


def _whole(bare: BareColumns, levels: Mapping[str, tuple[str, ...]]) -> str | None:
    """The category that has a column for its first level too: without a constant, the first one."""
    return None if bare.constant else next((name for name in bare.fixed if name in levels), None)


def _names(column: str, levels: Sequence[str] | None, whole: bool) -> list[str]:
    if levels is None:
        return [column]
    return [f"{column}[{level}]" for level in levels] if whole else [f"{column}[T.{level}]" for level in levels[1:]]


def _rows(design: Design, reading: _Reading, batch: pa.RecordBatch) -> Rows:
    """A batch's complete rows."""
    numbers = {name: _filled(batch.column(name), np.nan) for name in reading.numbers}
    coded = {name: _coded(batch.column(name)) for name in reading.coded}
    kept: Bools = np.ones(batch.num_rows, dtype=np.bool_)
    for values in numbers.values():
        kept &= ~np.isnan(values)
    for codes, _ in coded.values():
        kept &= codes >= 0
    levels = {name: in_order_of_rows(codes[kept], labels) for name, (codes, labels) in coded.items()}
    dense = np.ones((int(kept.sum()), len(design.names)))
    dense[:, -1] = numbers[reading.bare.response][kept]
    _fill_fixed(dense, design, reading.bare, {name: values[kept] for name, values in numbers.items()}, levels)
    check_finite(dense, design.names)
    groups = [crossed([levels[name] for name in factor.group]) for factor in design.factors]
    return Rows(
        dense=dense,
        codes=tuple(codes for codes, _ in groups),
        labels=tuple(labels for _, labels in groups),
        columns=(None,) * len(groups),
        kept=kept,
        missing=int((~kept).sum()),
    )


def _fill_fixed(
    dense: Floats,
    design: Design,
    bare: BareColumns,
    numbers: Mapping[str, Floats],
    levels: Mapping[str, tuple[Ints, Labels]],
) -> None:
    """The fixed columns of complete rows, put after the constant."""
    at, whole = 1, _whole(bare, design.levels)
    for name in bare.fixed:
        if name in design.levels:
            columns = _indicators(name, *levels[name], design.levels[name])[:, 0 if name == whole else 1 :]
        else:
            columns = numbers[name][:, None]
        dense[:, at : at + columns.shape[1]] = columns
        at += columns.shape[1]


def _coded(column: pa.Array) -> tuple[Ints, Labels]:
    """Each row's code, −1 where the value is missing, and the values that codes stand for."""
    coded = column if isinstance(column, pa.DictionaryArray) else column.dictionary_encode()
    labels = coded.dictionary.to_pylist()
    number: dict[object, int] = {}
    for label in labels:  # a dictionary may hold a value twice, or none
        if label is not None:
            number.setdefault(label, len(number))
    places = np.array([*(-1 if label is None else number[label] for label in labels), -1], dtype=np.int64)
    return places[_filled(coded.indices, -1)], tuple(number)


def _filled(column: pa.Array, missing: float) -> NDArray[Any]:
    """A column of numbers as an array, from its buffers: Arrow's own way imports pandas."""
    known, values = column.buffers()
    rows = slice(column.offset, column.offset + len(column))
    numbers = np.frombuffer(values or b"", dtype=column.type.to_pandas_dtype())[rows]
    if not column.null_count:
        return numbers
    present = np.unpackbits(np.frombuffer(known, dtype=np.uint8), bitorder="little")[rows]
    return np.where(present, numbers, missing)


def _indicators(name: str, codes: Ints, labels: Labels, known: Labels) -> Floats:
    """(n, L): 1 in the column of each row's level."""
    places = places_among(labels, known)
    check_known(name, [label for label, place in zip(labels, places, strict=True) if place < 0])
    return np.asarray(places[codes][:, None] == np.arange(len(known)), dtype=np.float64)
