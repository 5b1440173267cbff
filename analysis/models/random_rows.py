"""How do weighted rows act through the random effects?

For a row with one level of each of T random columns and weights w ≥ 0, M = I + ΛZ'WZΛ. The column with most levels is
eliminated exactly, its block of M being diagonal; of the rest a dense factor is taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse
from scipy.linalg import lapack

from analysis.models.arrays import CannotFitError, Floats, Ints, Sparse, check_dense

__all__ = ["Factored", "RandomRows"]


@dataclass(frozen=True)
class Factored:
    """M taken apart: ``diagonal`` (q,) of the eliminated column, ``across`` (q, m), ``inner`` (m, m) its complement's
    Cholesky factor, ``log_det`` of M."""

    diagonal: Floats
    across: Sparse
    inner: Floats
    log_det: float

    def solve(self, right: Floats) -> Floats:
        """M⁻¹ times (q + m,)."""
        size = len(self.diagonal)
        first, rest = right[:size] / self.diagonal, right[size:]
        if not len(self.inner):
            return first
        solved = np.asarray(lapack.dpotrs(self.inner, rest - self.across.T @ first, lower=1)[0]).ravel()
        return np.concatenate([first - (self.across @ solved) / self.diagonal, solved])


class RandomRows:
    """The rows' levels ``codes`` (T arrays of n) and values ``varying`` (T arrays of n), most levels first."""

    def __init__(self, codes: Sequence[Ints], varying: Sequence[Floats], levels: Sequence[int], rows: int) -> None:
        self.rows = rows
        self.count = len(codes)
        self.varying = list(varying)
        self.levels = list(levels)
        starts = np.concatenate([[0], np.cumsum(levels)]).astype(np.int64)
        self.places = [starts[t] + codes[t] for t in range(self.count)]
        self.total = int(starts[-1])
        self.first = levels[0] if self.count else 0
        self.size = self.total - self.first
        check_dense(self.size, "the other factors")
        self._pairs = [self._pattern(t) for t in range(1, self.count)]

    def spread(self, theta: Floats, effects: Floats) -> Floats:
        """ZΛu (n,)."""
        result = np.zeros(self.rows)
        for t in range(self.count):
            result += theta[t] * self.varying[t] * effects[self.places[t]]
        return result

    def gathered(self, theta: Floats, of_rows: Floats) -> Floats:
        """ΛZ' times a value of each row, (q + m,)."""
        result = np.zeros(self.total)
        for t in range(self.count):
            result += theta[t] * np.bincount(self.places[t], self.varying[t] * of_rows, self.total)
        return result

    def by_column(self, of_rows: Floats, of_levels: Floats) -> Floats:
        """Σ over rows of value × Z_t u for each random column t, (T,)."""
        return np.array([float((of_rows * self.varying[t]) @ of_levels[self.places[t]]) for t in range(self.count)])

    def factored(self, theta: Floats, weights: Floats) -> Factored:
        """M for weights (n,)."""
        if not self.count:
            return Factored(np.zeros(0), sparse.csr_array((0, 0)), np.zeros((0, 0)), 0.0)
        first = weights * self.varying[0]
        diagonal = 1.0 + theta[0] ** 2 * np.bincount(self.places[0], first * self.varying[0], self.first)
        if not (diagonal > 0).all():
            raise CannotFitError("the random effects cannot be told apart at these variances")
        if not self.size:
            return Factored(
                diagonal, sparse.csr_array((self.first, 0)), np.zeros((0, 0)), float(np.log(diagonal).sum())
            )
        across = self._across(theta, first)
        inner = self._inner(theta, weights)
        inner -= np.asarray((across.T @ (across / diagonal[:, None])).todense())
        factor, info = lapack.dpotrf(inner, lower=1, clean=1, overwrite_a=0)
        if info:
            raise CannotFitError("the random effects cannot be told apart at these variances")
        log_det = float(np.log(diagonal).sum() + 2.0 * np.log(np.diagonal(factor)).sum())
        return Factored(diagonal, across, np.asarray(factor), log_det)

    def leverages(self, theta: Floats, factored: Factored) -> tuple[Floats, Floats]:
        """The rows' Z Λ M⁻¹ Λ Z', (n,), and for each random column t the sum over its levels of 1 − [M⁻¹]_ll, (T,)."""
        if not self.count:
            return np.zeros(self.rows), np.zeros(0)
        inverse_inner, crossed, own = self._inverse(factored)
        values = [theta[t] * self.varying[t] for t in range(self.count)]
        result = values[0] ** 2 * own[self.places[0]]
        for t in range(1, self.count):
            at = self.places[t] - self.first
            result += 2.0 * values[0] * values[t] * crossed[self.places[0], at]
            for s in range(1, self.count):
                result += values[t] * values[s] * inverse_inner[at, self.places[s] - self.first]
        diagonal = np.concatenate([own, np.diagonal(inverse_inner)])
        starts = np.concatenate([[0], np.cumsum(self.levels)]).astype(np.int64)
        return result, np.array([(1.0 - diagonal[starts[t] : starts[t + 1]]).sum() for t in range(self.count)])

    def _inverse(self, factored: Factored) -> tuple[Floats, Floats, Floats]:
        """M⁻¹ of the rest (m, m), between (q, m), and its diagonal for the eliminated column (q,)."""
        if not self.size:
            return np.zeros((0, 0)), np.zeros((self.first, 0)), 1.0 / factored.diagonal
        lower = np.tril(np.asarray(lapack.dpotri(factored.inner, lower=1)[0]))
        inverse = lower + np.tril(lower, -1).T
        scaled = factored.across / factored.diagonal[:, None]
        crossed = -np.asarray(scaled @ inverse)
        own = 1.0 / factored.diagonal - np.asarray(scaled.multiply(crossed).sum(axis=1)).ravel()
        return inverse, crossed, own

    def _pattern(self, t: int) -> tuple[Ints, Ints, Ints]:
        """Which pairs of a level of the first column and one of column t occur, and which of them each row is."""
        key = self.places[0] * self.size + (self.places[t] - self.first)
        pairs, of_row = np.unique(key, return_inverse=True)
        return pairs // self.size, pairs % self.size, np.asarray(of_row, dtype=np.int64)

    def _across(self, theta: Floats, first: Floats) -> Sparse:
        rows, columns, values = [], [], []
        for t, (row, column, of_row) in enumerate(self._pairs, start=1):
            rows.append(row)
            columns.append(column)
            values.append(theta[0] * theta[t] * np.bincount(of_row, first * self.varying[t], len(row)))
        entries = (np.concatenate(values), (np.concatenate(rows), np.concatenate(columns)))
        return sparse.csr_array(sparse.coo_array(entries, shape=(self.first, self.size)))

    def _inner(self, theta: Floats, weights: Floats) -> Floats:
        flat = np.zeros(self.size * self.size)
        for t in range(1, self.count):
            weighted = weights * self.varying[t]
            for s in range(1, self.count):
                key = (self.places[t] - self.first) * self.size + (self.places[s] - self.first)
                flat += theta[t] * theta[s] * np.bincount(key, weighted * self.varying[s], self.size * self.size)
        inner = flat.reshape(self.size, self.size)
        inner[np.diag_indices(self.size)] += 1.0
        return inner
