"""What does eliminating a factor take from the sums of the others?

For a factor with levels l, columns c and products B_l (c, m) with m other columns, everything asked of it has the form
Σ_l B_l' W_l B_l with a symmetric c × c weight for each level. Where a level meets few of the others (a student meets
some 25 of 1,128 teachers) B is kept sparse, and the sum is formed some columns at a time, so that it is never held
beside what it is added to.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy import sparse

from analysis.models.arrays import Floats, Sparse

__all__ = ["Reduction"]

_SPARSE_FROM = 200_000  # entries of B below which a dense product is faster, whatever its share of zeros
_SPARSE_SHARE = 0.1
_COLUMNS = 64


class Reduction:
    """The eliminated factor's products with itself, the rest factors and the dense columns.

    ``own`` (q, c, c), ``rest`` (q·c, m), sparse or dense, and ``dense`` (q·c, p+1); row l·c + a is column a of level l.
    """

    def __init__(self, own: Floats, rest: Sparse, dense: Floats) -> None:
        self.own = own
        self.dense = dense
        size = rest.shape[0] * rest.shape[1]
        self.sparse = size > _SPARSE_FROM and rest.nnz < _SPARSE_SHARE * size
        self.rest: Sparse = rest if self.sparse else rest.toarray()
        self._turned: Sparse = rest.T.tocsr() if self.sparse else self.rest.T

    @property
    def levels(self) -> int:
        """How many levels the factor has."""
        return int(self.own.shape[0])

    @property
    def width(self) -> int:
        """How many columns vary over them."""
        return int(self.own.shape[1])

    @property
    def size(self) -> int:
        """How many rest columns there are, m."""
        return int(self.rest.shape[1])

    def subtracted(self, products: Sparse, weights: Floats) -> Floats:
        """The rest's own products (m, m), sparse, less Σ B_l' W_l B_l, in Fortran order; its lower half."""
        result = np.empty((self.size, self.size), order="F")
        for start, stop, block in self.left(products, weights):
            result[start:, start:stop] = block
        return result

    def left(self, products: Sparse, weights: Floats) -> Iterator[tuple[int, int, Floats]]:
        """The same some columns at a time, each from its diagonal down: (start, stop, block)."""
        for start, stop, block in self._blocks(weights):
            own = products[start:, start:stop] if self.sparse else products
            yield start, stop, own.toarray() - block

    def left_times(self, products: Sparse, weights: Floats, stacked: Floats) -> Floats:
        """The same times (m, k)."""
        return np.asarray(products @ stacked - self.rest.T @ _apply(weights, np.asarray(self.rest @ stacked)))

    def trace(self, kernel: Floats, weights: Floats) -> float:
        """tr(K Σ B_l' W_l B_l) of a symmetric K (m, m) given by its lower half, W symmetric."""
        total = 0.0
        for start, stop, block in self._blocks(weights):
            width = stop - start
            product = block * kernel[start:, start:stop]
            on_diagonal = np.tril(product[:width])
            total += 2.0 * float(product[width:].sum() + on_diagonal.sum()) - float(np.trace(on_diagonal))
        return total

    def crossed(self, weights: Floats) -> Floats:
        """Σ B_l' W_l B_l in full, (m, m); W need not be symmetric."""
        product = self.rest.T @ self.weighted(weights)
        return np.asarray(product.toarray() if self.sparse else product)

    def of_dense(self, weights: Floats) -> tuple[Floats, Floats]:
        """Σ B_l' W_l D_l and Σ D_l' W_l D_l, with D_l the products with the dense columns."""
        weighted = _apply(weights, self.dense)
        return np.asarray(self.rest.T @ weighted), self.dense.T @ weighted

    def weighted(self, weights: Floats) -> Sparse:
        """W_l B_l for each level, stacked."""
        if not self.sparse:
            return _apply(weights, self.rest)
        return sparse.csr_array(_stacked(weights) @ self.rest)

    def _blocks(self, weights: Floats) -> Iterator[tuple[int, int, Floats]]:
        """Σ B_l' W_l B_l from its diagonal down, some columns at a time."""
        if not self.sparse:
            yield 0, self.size, np.asarray(self._turned @ _apply(weights, self.rest))
            return
        level_weights = _stacked(weights)
        for start in range(0, self.size, _COLUMNS):
            stop = min(start + _COLUMNS, self.size)
            yield start, stop, (self._turned[start:] @ (level_weights @ self._turned[start:stop].T)).toarray()


def _stacked(weights: Floats) -> Sparse:
    """The weights of the levels as one matrix, (q·c, q·c)."""
    levels, width = weights.shape[:2]
    places = np.arange(levels + 1, dtype=np.int32)
    return sparse.bsr_array((np.ascontiguousarray(weights), places[:-1], places), shape=(levels * width,) * 2)


def _apply(weights: Floats, stacked: Floats) -> Floats:
    levels, width = weights.shape[:2]
    if width == 1:
        return np.asarray(weights[:, 0, 0][:, None] * stacked)
    return np.asarray(np.matmul(weights, stacked.reshape(levels, width, -1)).reshape(stacked.shape))
