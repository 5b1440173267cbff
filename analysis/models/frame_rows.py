"""Which columns and levels does a formula make of a frame?

The fixed part is formulaic's, and what it needs is imported with it; rows whose formula names bare columns are read
without a frame where they come from Arrow, see ``arrow_rows``.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import chain
from typing import Any

import numpy as np
import pandas as pd
from formulaic import Formula
from formulaic.errors import FormulaicError

from analysis.models.arrays import Bools, CannotFitError, Floats, Ints
from analysis.models.categories import as_categories, category_levels, names_in
from analysis.models.design import CONSTANT, Design, Factor, Rows, check_finite
from analysis.models.formula import ModelFormula, parse_formula
from analysis.models.levels import Labels, crossed
from analysis.models.sources import Source, chunks, text_levels

__all__ = ["bound", "complete_rows", "fixed_rows", "needed_columns", "rows_of_chunks", "variables_of"]


def bound(
    formula: str | ModelFormula, frame: pd.DataFrame, levels: Mapping[str, Sequence[Any]] | None = None
) -> tuple[Design, Rows]:
    """Bind a formula to a frame, its columns and the levels of its categories, and read the frame's complete rows.

    Parameters
    ----------
    levels : mapping of column to levels
        Categories that later chunks may hold and ``frame`` may not.

    Raises
    ------
    ValueError
        If the frame lacks a column that the formula names, the formula cannot be read, or a value is not finite.
    CannotFitError
        If no row is complete.
    """
    parsed = parse_formula(formula) if isinstance(formula, str) else formula
    fixed, varying = _formulas(parsed)
    variables = variables_of(parsed)
    used, kept = _complete(frame, variables)
    if used.empty:
        raise CannotFitError(f"no row has all of {', '.join(variables)}")
    known = dict(category_levels(used, (fixed.rhs, *varying)))
    known |= {name: tuple(given) for name, given in (levels or {}).items()}
    used = as_categories(used, known)
    parts = _evaluated(fixed, used)
    names = tuple(str(name) for name in parts.rhs.columns)
    if parts.lhs.shape[1] != 1:
        raise ValueError(f"formula must have one numeric response, got {parsed.response!r}")
    factors, specs = _factors(parsed, used)
    design = Design(
        formula=parsed,
        names=(CONSTANT, *(name for name in names if name != CONSTANT), parsed.response),
        fixed=names,
        factors=factors,
        variables=variables,
        levels=known,
        spec=parts.model_spec,
        random_specs=specs,
    )
    return design, _assembled(design, used, parts, kept)


def complete_rows(design: Design, frame: pd.DataFrame) -> Rows:
    """As ``Design.rows``."""
    spec = _spec(design)
    used, kept = _complete(frame, design.variables)
    used = as_categories(used, design.levels)
    return _assembled(design, used, _evaluated(spec, used), kept)


def fixed_rows(design: Design, frame: pd.DataFrame) -> Floats:
    """As ``Design.fixed_rows``."""
    needed = needed_columns(design)
    absent = [name for name in needed if name not in frame.columns]
    if absent:
        raise ValueError(f"frame must have the columns of the fixed part, it lacks {', '.join(absent)}")
    used = as_categories(frame.loc[:, needed] if needed else frame, design.levels)
    columns = np.asarray(_evaluated(_spec(design).rhs, used), dtype=np.float64)
    return columns.reshape(len(frame), len(design.fixed))


def needed_columns(design: Design) -> list[str]:
    """The columns of a frame that the fixed part needs, in alphabetical order."""
    return sorted(names_in(_spec(design).rhs.formula))


def rows_of_chunks(
    formula: str | ModelFormula | Design,
    source: Source,
    levels: Mapping[str, Sequence[Any]] | None,
    chunk_rows: int,
) -> tuple[Design, Iterator[Rows]]:
    """Bind a formula to the first chunk with a complete row, and read those of each chunk; see ``accumulate``."""
    if isinstance(formula, Design):
        parts = chunks(source, formula.variables, chunk_rows)
        return formula, (complete_rows(formula, chunk) for chunk in parts)
    wanted = variables_of(formula)
    parts = chunks(source, wanted, chunk_rows)
    known = {**_known_levels(formula, source, wanted, chunk_rows), **(levels or {})}
    first, before = _first_with_rows(parts, wanted)
    design, rows = bound(formula, first, known)
    rows = replace(rows, missing=rows.missing + before)
    return design, chain([rows], (complete_rows(design, chunk) for chunk in parts))


def variables_of(formula: str | ModelFormula) -> tuple[str, ...]:
    """The columns that a formula needs, in alphabetical order."""
    parsed = parse_formula(formula) if isinstance(formula, str) else formula
    fixed, varying = _formulas(parsed)
    evaluated = {name for part in (fixed.lhs, fixed.rhs, *varying) for name in names_in(part)}
    return tuple(sorted(evaluated | {name for term in parsed.random for name in term.group}))


def _first_with_rows(parts: Iterator[pd.DataFrame], wanted: Sequence[str]) -> tuple[pd.DataFrame, int]:
    """The first chunk with a complete row, and how many rows stand before it; a frame without rows if none has one."""
    before = 0
    for chunk in parts:
        if _complete(chunk, wanted)[1].any():
            return chunk, before
        before += len(chunk)
    return pd.DataFrame(columns=list(wanted)), before


def _known_levels(
    formula: str | ModelFormula, source: Source, wanted: Sequence[str], chunk_rows: int
) -> Mapping[str, Sequence[Any]]:
    """The levels of categories that the first chunk may not show."""
    if not isinstance(source, pd.DataFrame):
        return text_levels(source, wanted, chunk_rows)
    if len(source) <= chunk_rows:
        return {}
    parsed = parse_formula(formula) if isinstance(formula, str) else formula
    fixed, varying = _formulas(parsed)
    used, _ = _complete(source, wanted)
    return dict(category_levels(used, (fixed.rhs, *varying)))


@lru_cache(maxsize=128)
def _formulas(parsed: ModelFormula) -> tuple[Any, tuple[Any, ...]]:
    """What formulaic makes of the fixed part and of each random term's columns."""
    try:
        return Formula(f"{parsed.response} ~ {parsed.fixed}"), tuple(Formula(term.columns) for term in parsed.random)
    except FormulaicError as error:
        raise ValueError(f"formula cannot be read: {str(error).splitlines()[0]} In {parsed.text!r}") from error


def _spec(design: Design) -> Any:
    """What formulaic makes of a design's formula; of bare columns it is made here, of one row that has their levels."""
    if design.added:
        raise ValueError(f"a design that columns were added to reads no rows: {design.formula.text}")
    if design.spec is not None:
        return design.spec
    row = {name: [design.levels[name][0] if name in design.levels else 0.0] for name in design.variables}
    used = as_categories(pd.DataFrame(row), design.levels)
    return _evaluated(_formulas(design.formula)[0], used).model_spec


def _complete(frame: pd.DataFrame, variables: Sequence[str]) -> tuple[pd.DataFrame, Bools]:
    absent = [name for name in variables if name not in frame.columns]
    if absent:
        raise ValueError(f"frame must have the columns of the formula, it lacks {', '.join(absent)}")
    used = frame.loc[:, list(variables)]
    kept: Bools = np.asarray(used.notna().to_numpy(dtype=bool).all(axis=1), dtype=np.bool_)
    return (used if kept.all() else used.loc[kept]), kept


def _evaluated(formula: Any, used: pd.DataFrame) -> Any:
    """The columns of a formula; the log of zero is told later, with the column's name, and not by numpy here."""
    try:
        with np.errstate(all="ignore"):
            return formula.get_model_matrix(used, context={}, na_action="ignore")
    except FormulaicError as error:
        raise ValueError(f"formula cannot be worked out: {error}") from error


def _assembled(design: Design, used: pd.DataFrame, parts: Any, kept: Bools) -> Rows:
    """The arrays of complete rows whose columns formulaic has evaluated."""
    fixed = np.asarray(parts.rhs, dtype=np.float64)
    response = np.asarray(parts.lhs, dtype=np.float64)
    others = fixed[:, 1:] if CONSTANT in design.fixed else fixed
    dense = np.column_stack([np.ones(len(used)), others, response])
    check_finite(dense, design.names)
    coded = [crossed([_codes(used[name]) for name in factor.group]) for factor in design.factors]
    return Rows(
        dense=dense,
        codes=tuple(codes for codes, _ in coded),
        labels=tuple(labels for _, labels in coded),
        columns=tuple(_varying(used, specs) for specs in design.random_specs),
        kept=kept,
        missing=int((~kept).sum()),
    )


def _factors(parsed: ModelFormula, used: pd.DataFrame) -> tuple[tuple[Factor, ...], tuple[Any, ...]]:
    """One factor for each group, its random terms side by side."""
    names: dict[tuple[str, ...], list[str]] = {}
    parts: dict[tuple[str, ...], list[tuple[int, int]]] = {}
    specs: dict[tuple[str, ...], list[Any]] = {}
    for term, columns in zip(parsed.random, _formulas(parsed)[1], strict=True):
        matrix = None if term.columns == "1" else columns.get_model_matrix(used, context={})
        start = len(names.setdefault(term.group, []))
        added = [CONSTANT] if matrix is None else [str(name) for name in matrix.columns]
        if set(added) & set(names[term.group]):
            raise ValueError(f"a column may vary over {term.group_name} once, got {', '.join(added)} again")
        names[term.group] += added
        stops = [start + len(added)] if term.correlated else list(range(start + 1, start + len(added) + 1))
        starts = [start] if term.correlated else list(range(start, start + len(added)))
        parts.setdefault(term.group, []).extend(zip(starts, stops, strict=True))
        specs.setdefault(term.group, []).append(None if matrix is None else matrix.model_spec)
    factors = tuple(Factor(group, tuple(names[group]), tuple(parts[group])) for group in names)
    return factors, tuple(tuple(specs[group]) for group in names)


def _codes(column: pd.Series[Any]) -> tuple[Ints, Labels]:
    """Codes of the rows and the labels that they stand for, in the order in which the rows bring them."""
    codes, labels = pd.factorize(column, sort=False)
    return np.asarray(codes, dtype=np.int64), tuple(labels.tolist())


def _varying(used: pd.DataFrame, specs: Sequence[Any]) -> Floats | None:
    """The columns that vary over a factor's levels; None stands for the constant alone."""
    if tuple(specs) == (None,):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        blocks = [
            np.ones((len(used), 1))
            if spec is None
            else np.asarray(spec.get_model_matrix(used, context={}, na_action="ignore"), dtype=np.float64)
            for spec in specs
        ]
    return np.column_stack(blocks)
