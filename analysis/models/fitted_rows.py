"""Which rows was a model fitted to, read once for all that is asked of them?

Reading a formula's columns from a frame costs more than most questions that are put to the fit afterwards.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from analysis.models.arrays import Floats
from analysis.models.cross_products import Accumulator, CrossProducts, with_dense_products
from analysis.models.design import CONSTANT, Design, Rows
from analysis.models.formula import quoted
from analysis.models.frame_rows import bound
from analysis.models.levels import places_among
from analysis.models.mixed import Method, MixedFit, fit_sums
from analysis.models.threads import one_thread

__all__ = ["FittedRows", "fit_read", "fit_with", "fitted_rows", "read_rows"]


@dataclass(frozen=True, eq=False)
class FittedRows:
    """A frame and its complete rows as a design reads them, whose levels are numbered as the fit's sums number them."""

    frame: pd.DataFrame
    rows: Rows
    design: Design

    def with_response(self, values: Floats) -> FittedRows:
        """The same rows with other values of the response, (n,)."""
        return replace(self, rows=replace(self.rows, dense=np.column_stack([self.rows.dense[:, :-1], values])))


def read_rows(formula: str, frame: pd.DataFrame) -> FittedRows:
    """Read a formula's complete rows from a frame.

    Raises
    ------
    ValueError
        As for ``mixed``.
    CannotFitError
        If no row is complete.
    """
    design, rows = bound(formula, frame)
    return FittedRows(frame, rows, design)


def fit_read(read: FittedRows, *, method: Method = "REML") -> MixedFit:
    """Fit a Gaussian mixed model to rows that were read, as ``mixed`` does from a frame."""
    with one_thread():
        accumulator = Accumulator(read.design)
        accumulator.add_rows(read.rows)
        return fit_sums(accumulator.result(), method=method)


def fitted_rows(fit: MixedFit, frame: pd.DataFrame) -> FittedRows:
    """Read the rows that a model was fitted to.

    Raises
    ------
    ValueError
        If the frame has not the rows that were fitted.
    """
    rows = fit.sums.design.rows(frame)
    if len(rows.dense) != fit.rows:
        raise ValueError(f"frame must be the one that was fitted ({fit.rows} complete rows), got {len(rows.dense)}")
    labels = fit.sums.labels
    places = [places_among(own, known) for known, own in zip(labels, rows.labels, strict=True)]
    if any((place < 0).any() for place in places):
        raise ValueError("frame must be the one that was fitted, got levels that the fit has not seen")
    codes = tuple(place[own] for place, own in zip(places, rows.codes, strict=True))
    return FittedRows(frame, replace(rows, codes=codes, labels=labels), fit.sums.design)


def fit_with(fit: MixedFit, rows: FittedRows, columns: Mapping[str, Floats]) -> MixedFit:
    """Fit a model again with further fixed columns: only what they add to the sums is added up.

    Parameters
    ----------
    columns : mapping of name to array, shape (n,)
        Values of the complete rows. A column that the others make is dropped, as in any fit.

    Raises
    ------
    ValueError
        If a name is taken, or a value is not finite.
    CannotFitError
        As for ``mixed``.
    """
    taken = [name for name in columns if name in fit.sums.names]
    if taken:
        raise ValueError(f"columns must have names of their own, got {', '.join(taken)}")
    added = np.column_stack([np.asarray(values, dtype=np.float64) for values in columns.values()])
    if len(added) != fit.rows or not np.isfinite(added).all():
        raise ValueError(f"columns must hold a finite value for each of {fit.rows} rows")
    with one_thread():
        sums = _wider(fit.sums, rows.rows, tuple(columns), added)
        groups = [group.name for group in fit.groups]
        return fit_sums(sums, fixed=(*fit.names, *columns), groups=groups, method=fit.method, start=fit)


def _wider(sums: CrossProducts, rows: Rows, names: Sequence[str], added: Floats) -> CrossProducts:
    """The sums with columns put before the response."""
    shift = added.mean(axis=0) if CONSTANT in sums.design.fixed else np.zeros(added.shape[1])
    dense, further = rows.dense - sums.shift, added - shift
    size = len(sums.names) + len(names)
    at = np.arange(len(sums.names) - 1, size - 1)
    whole = np.zeros((size, size))
    others = np.delete(np.arange(size), at)
    whole[np.ix_(others, others)] = sums.dense
    whole[np.ix_(others, at)] = dense.T @ further
    whole[np.ix_(at, others)] = whole[np.ix_(others, at)].T
    whole[np.ix_(at, at)] = further.T @ further
    products = [
        np.insert(known, [at[0]] * len(names), with_dense_products(codes, varying, further, len(labels)), axis=1)
        for known, codes, varying, labels in zip(sums.with_dense, rows.codes, rows.columns, rows.labels, strict=True)
    ]
    return replace(
        sums,
        design=_named(sums.design, names),
        shift=np.insert(sums.shift, [at[0]] * len(names), shift),
        dense=whole,
        with_dense=tuple(products),
    )


def _named(design: Design, names: Sequence[str]) -> Design:
    """The design with further fixed columns; it reads no rows, because no frame need have them."""
    further = "".join(f" + {quoted(name)}" for name in names)
    formula = replace(design.formula, text=design.formula.text + further, fixed=design.formula.fixed + further)
    fixed = (*design.fixed, *names)
    return replace(
        design,
        formula=formula,
        names=(*design.names[:-1], *names, design.names[-1]),
        fixed=fixed,
        added=(*design.added, *names),
    )
