"""What does eliminating a factor take from the sums of the others?

For a factor with levels l, columns c and products B_l (c, m) with m other columns, everything asked of it has the form
Σ_l B_l' W_l B_l with a symmetric c × c weight for each level. Where a level meets few of the others (a student meets
some 25 of 1,128 teachers), the pairs of entries that meet are listed once and each sum is one sparse product.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
from scipy import sparse

from analysis.models.arrays import Floats, Sparse

__all__ = ["Reduction"]

_SPARSE_FROM = 200_000  # entries of B below which a dense product is faster, whatever its share of zeros
_SPARSE_SHARE = 0.1
_MOST_PAIRS = 20_000_000  # 240 MB; beyond it the product is formed anew at each call


class Reduction:
    """The eliminated factor's products with itself, the rest factors and the dense columns.

    ``own`` (q, c, c), ``rest`` (q·c, m), sparse or dense, and ``dense`` (q·c, p+1); row l·c + a is column a of level l.
    """

    def __init__(self, own: Floats, rest: Sparse, dense: Floats) -> None:
        self.own = own
        self.dense = dense
        size = rest.shape[0] * rest.shape[1]
        few = size > _SPARSE_FROM and rest.nnz < _SPARSE_SHARE * size
        self.rest: Sparse = rest if few else rest.toarray()

    @property
    def levels(self) -> int:
        """How many levels the factor has."""
        return int(self.own.shape[0])

    @property
    def width(self) -> int:
        """How many columns vary over them."""
        return int(self.own.shape[1])

    def of_rest(self, weights: Floats) -> Floats:
        """Σ B_l' W_l B_l over the rest factors' columns, (m, m) in Fortran order, its lower half."""
        if isinstance(self.rest, np.ndarray):
            return np.asfortranarray(self.rest.T @ self.weighted(weights))
        size = self.rest.shape[1]
        if self._pairs is not None:
            flat = self._pairs @ weights[:, 0, 0]
            return np.asarray(flat).reshape(size, size).T
        return np.asfortranarray((self.rest.T @ self.weighted(weights)).toarray())

    def of_dense(self, weights: Floats) -> tuple[Floats, Floats]:
        """Σ B_l' W_l D_l and Σ D_l' W_l D_l, with D_l the products with the dense columns."""
        weighted = _apply(weights, self.dense)
        return np.asarray(self.rest.T @ weighted), self.dense.T @ weighted

    def weighted(self, weights: Floats) -> Sparse:
        """W_l B_l for each level, stacked."""
        if isinstance(self.rest, np.ndarray):
            return _apply(weights, self.rest)
        levels, width = weights.shape[:2]
        blocks = (np.ascontiguousarray(weights), np.arange(levels), np.arange(levels + 1))
        return sparse.csr_array(sparse.bsr_array(blocks, shape=(levels * width, levels * width)) @ self.rest)

    @cached_property
    def _pairs(self) -> Sparse:
        """The map from the levels' weights to the lower half of Σ w_l b_l b_l', column by column."""
        if self.width > 1 or isinstance(self.rest, np.ndarray):
            return None
        entries = self.rest.sorted_indices()
        lengths = np.diff(entries.indptr)
        place = np.arange(entries.nnz) - np.repeat(entries.indptr[:-1], lengths)
        total = int((place + 1).sum())
        if total > _MOST_PAIRS:
            return None
        later = np.repeat(np.arange(entries.nnz, dtype=np.int32), place + 1)
        earlier = np.arange(total, dtype=np.int32) - np.repeat(
            (np.cumsum(place + 1) - (place + 1) - np.repeat(entries.indptr[:-1], lengths)).astype(np.int32), place + 1
        )
        size = entries.shape[1]
        at = entries.indices[earlier].astype(np.int64) * size + entries.indices[later]
        level = np.repeat(np.repeat(np.arange(self.levels, dtype=np.int32), lengths), place + 1)
        values = entries.data[earlier] * entries.data[later]
        return sparse.csr_array(sparse.coo_array((values, (at, level)), shape=(size * size, self.levels)))


def _apply(weights: Floats, stacked: Floats) -> Floats:
    levels, width = weights.shape[:2]
    if width == 1:
        return np.asarray(weights[:, 0, 0][:, None] * stacked)
    return np.asarray(np.matmul(weights, stacked.reshape(levels, width, -1)).reshape(stacked.shape))
