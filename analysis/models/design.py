"""Which columns and levels does a formula make of a frame?"""

from __future__ import annotations

import warnings
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
import pandas as pd
from formulaic import Formula

from analysis.models.arrays import Bools, CannotFitError, Floats, Ints
from analysis.models.categories import as_categories, category_levels
from analysis.models.formula import ModelFormula, parse_formula

__all__ = ["CONSTANT", "Design", "Factor", "Rows", "bound", "levels_of", "variables_of"]

CONSTANT = "Intercept"


@dataclass(frozen=True)
class Factor:
    """A grouping factor and the columns that vary over its levels.

    ``columns`` name the c columns; ``parts`` says which of them belong to one random term, as (start, stop); columns of
    one part are correlated, parts are independent of each other.
    """

    group: tuple[str, ...]
    columns: tuple[str, ...]
    parts: tuple[tuple[int, int], ...]

    @property
    def name(self) -> str:
        """The factor, or its factors joined by a colon."""
        return ":".join(self.group)


@dataclass(frozen=True)
class Rows:
    """The rows of one chunk, ready to be added up.

    ``dense`` (n, k) holds the constant, the fixed columns and the response, in the order of ``Design.names``;
    ``keys`` (n,) for each factor are labels or tuples coded within the chunk with ``labels``; ``columns`` (n, c) for
    each factor, None where the only column is the constant. ``kept`` (rows of the chunk,) marks the complete rows.
    """

    dense: Floats
    codes: tuple[Ints, ...]
    labels: tuple[pd.Index, ...]
    columns: tuple[Floats | None, ...]
    kept: Bools
    missing: int

    def take(self, chosen: Bools) -> Rows:
        """Only the chosen of the complete rows."""
        return Rows(
            self.dense[chosen],
            tuple(codes[chosen] for codes in self.codes),
            self.labels,
            tuple(None if columns is None else columns[chosen] for columns in self.columns),
            self.kept,
            0,
        )


@dataclass(frozen=True)
class Design:
    """A formula bound to the levels of its categories, so that every chunk gets the same columns.

    ``names`` are the dense columns: the constant first, whether or not the formula has an intercept, then the other
    fixed columns, then the response. ``fixed`` are those of the formula.
    """

    formula: ModelFormula
    names: tuple[str, ...]
    fixed: tuple[str, ...]
    factors: tuple[Factor, ...]
    variables: tuple[str, ...]
    levels: Mapping[str, tuple[Any, ...]]
    spec: Any = field(repr=False)
    random_specs: tuple[Any, ...] = field(repr=False)

    @property
    def response(self) -> str:
        """The response as the formula writes it."""
        return self.names[-1]

    def fixed_rows(self, frame: pd.DataFrame) -> Floats:
        """Return the fixed columns (n, p) of a frame that need hold neither response nor groups.

        Raises
        ------
        ValueError
            If a column is missing or a category is not among the levels.
        """
        needed = sorted(str(name) for name in self.spec.rhs.required_variables)
        absent = [name for name in needed if name not in frame.columns]
        if absent:
            raise ValueError(f"frame must have the columns of the fixed part, it lacks {', '.join(absent)}")
        used = as_categories(frame.loc[:, needed] if needed else frame, self.levels)
        return np.asarray(_evaluated(self.spec.rhs, used), dtype=np.float64).reshape(len(frame), len(self.fixed))

    def rows(self, frame: pd.DataFrame) -> Rows:
        """Return the complete rows of ``frame`` as arrays.

        Raises
        ------
        ValueError
            If a column is missing, a category was not among the levels that the design was made from, or a value such
            as the log of zero is not finite; or if columns that no formula names were added to the design.
        """
        if self.spec is None:
            raise ValueError(f"a design that columns were added to reads no rows: {self.formula.text}")
        used, kept = _complete(frame, self.variables)
        used = as_categories(used, self.levels)
        return self.assembled(used, _evaluated(self.spec, used), kept)

    def assembled(self, used: pd.DataFrame, parts: Any, kept: Bools) -> Rows:
        """The arrays of complete rows whose columns formulaic has evaluated."""
        fixed = np.asarray(parts.rhs, dtype=np.float64)
        response = np.asarray(parts.lhs, dtype=np.float64)
        others = fixed[:, 1:] if CONSTANT in self.fixed else fixed
        dense = np.column_stack([np.ones(len(used)), others, response])
        _check_finite(dense, self.names)
        coded = [_levels(used, factor.group) for factor in self.factors]
        return Rows(
            dense=dense,
            codes=tuple(codes for codes, _ in coded),
            labels=tuple(labels for _, labels in coded),
            columns=tuple(_varying(used, specs) for specs in self.random_specs),
            kept=kept,
            missing=int((~kept).sum()),
        )


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
    return design, design.assembled(used, parts, kept)


def variables_of(formula: str | ModelFormula) -> tuple[str, ...]:
    """The columns that a formula needs, in alphabetical order."""
    parsed = parse_formula(formula) if isinstance(formula, str) else formula
    fixed, varying = _formulas(parsed)
    evaluated = {str(name) for part in (fixed.lhs, fixed.rhs, *varying) for name in part.required_variables}
    return tuple(sorted(evaluated | {name for term in parsed.random for name in term.group}))


def levels_of(formula: str | ModelFormula, frame: pd.DataFrame) -> Mapping[str, tuple[Any, ...]]:
    """The levels of a formula's categories among the complete rows of a frame."""
    parsed = parse_formula(formula) if isinstance(formula, str) else formula
    fixed, varying = _formulas(parsed)
    used, _ = _complete(frame, variables_of(parsed))
    return dict(category_levels(used, (fixed.rhs, *varying)))


@lru_cache(maxsize=128)
def _formulas(parsed: ModelFormula) -> tuple[Any, tuple[Any, ...]]:
    """What formulaic makes of the fixed part and of each random term's columns."""
    return Formula(f"{parsed.response} ~ {parsed.fixed}"), tuple(Formula(term.columns) for term in parsed.random)


def _complete(frame: pd.DataFrame, variables: tuple[str, ...]) -> tuple[pd.DataFrame, Bools]:
    absent = [name for name in variables if name not in frame.columns]
    if absent:
        raise ValueError(f"frame must have the columns of the formula, it lacks {', '.join(absent)}")
    used = frame.loc[:, list(variables)]
    kept: Bools = np.asarray(used.notna().to_numpy(dtype=bool).all(axis=1), dtype=np.bool_)
    return (used if kept.all() else used.loc[kept]), kept


def _evaluated(formula: Any, used: pd.DataFrame) -> Any:
    """The columns of a formula; the log of zero is told later, with the column's name, and not by numpy here."""
    with np.errstate(all="ignore"):
        return formula.get_model_matrix(used, context={}, na_action="ignore")


def _check_finite(dense: Floats, names: tuple[str, ...]) -> None:
    bad = ~np.isfinite(dense)
    if bad.any():
        which = [f"{name} ({count} rows)" for name, count in zip(names, bad.sum(axis=0), strict=True) if count]
        raise ValueError(f"every value of the model must be finite; not so: {', '.join(which)}")


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


def _levels(used: pd.DataFrame, group: tuple[str, ...]) -> tuple[Ints, pd.Index]:
    """Codes of the rows and the labels that they stand for; a crossing's labels are tuples."""
    if len(group) == 1:
        codes, labels = pd.factorize(used[group[0]], sort=False)
        return np.asarray(codes, dtype=np.int64), pd.Index(labels)
    each = [pd.factorize(used[name], sort=False) for name in group]
    key = np.zeros(len(used), dtype=np.int64)
    for codes, labels in each:
        key = key * len(labels) + codes
    pairs, first, codes = np.unique(key, return_index=True, return_inverse=True)
    crossed = [np.asarray(labels, dtype=object)[codes_of[first]] for codes_of, labels in each]
    tuples = np.empty(len(pairs), dtype=object)
    tuples[:] = list(zip(*crossed, strict=True))
    return np.asarray(codes, dtype=np.int64), pd.Index(tuples, tupleize_cols=False)


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
