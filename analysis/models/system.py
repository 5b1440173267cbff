"""Which part of the sums does one model need, and in which order is it solved?

The factor with most levels is eliminated exactly: its block of Z'Z is diagonal by level. What is left, the other
factors r and the dense columns D = [X, y], is small and dense. With V = I + ZΦZ', the covariance of the response in
units of the residual variance, V_e the part of the eliminated factor e and Φ_e its covariance,

    H'V_e⁻¹H = H'H − Σ_l B_l' W_l B_l,   W_l = Φ_e (I + n_l Φ_e)⁻¹,   H = [Z_r | D],   B_l = Z_l'H,

which holds where Φ_e is zero too (Woodbury's identity, level by level).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from analysis.models.arrays import CannotFitError, Floats, Ints, Sparse
from analysis.models.cross_products import CrossProducts
from analysis.models.reduction import Reduction

__all__ = ["Block", "System", "independent_columns", "system_of"]

_ALIASED = 1e-10  # what is left of a column's sum of squares, of 1, after the columns before it
_SPANNED = 1e-10


@dataclass(frozen=True)
class Block:
    """A factor's place: its index in the sums, its levels q, columns c, their parts, and its first row among r."""

    factor: int
    levels: int
    width: int
    parts: tuple[tuple[int, int], ...]
    start: int

    @property
    def rows(self) -> slice:
        """The factor's rows among those of r."""
        return slice(self.start, self.start + self.levels * self.width)


@dataclass(frozen=True)
class System:
    """The sums of one model, ordered for solving.

    ``HH`` (m, m), ``HD`` (m, p+1) and ``DD`` (p+1, p+1) are the products of the rest factors and of the dense columns,
    the response last. ``basis`` (p, p) and ``offset`` (p,) lead from the coefficients b of the shifted columns to those
    of the columns as given: β = basis b + offset.
    """

    names: tuple[str, ...]
    dropped: tuple[str, ...]
    rows: int
    eliminated: Block | None
    rest: tuple[Block, ...]
    reduction: Reduction | None
    HH: Floats
    HD: Floats
    DD: Floats
    basis: Floats
    offset: Floats

    @property
    def blocks(self) -> tuple[Block, ...]:
        """All factors, the eliminated one first."""
        return self.rest if self.eliminated is None else (self.eliminated, *self.rest)


def system_of(sums: CrossProducts, fixed: Sequence[str] | None = None, groups: Sequence[str] | None = None) -> System:
    """Take from the sums what the model with these fixed columns and these groups needs.

    Raises
    ------
    ValueError
        If a column or group was not added up.
    CannotFitError
        If there are no more rows than independent fixed columns.
    """
    wanted = tuple(sums.design.fixed if fixed is None else fixed)
    places = _places(wanted, sums.names[:-1], "fixed")
    chosen = _places(groups, [f.name for f in sums.design.factors], "groups") if groups is not None else None
    transform, offset = _transform(sums, places)
    dense = transform.T @ sums.dense @ transform
    kept = independent_columns(dense[:-1, :-1])
    if sums.rows <= len(kept):
        raise CannotFitError(f"{sums.rows} complete rows cannot carry {len(kept)} coefficients")
    columns = np.append(kept, len(wanted))
    eliminated, rest = _ordered(sums, range(len(sums.own)) if chosen is None else chosen)
    transform = transform[:, columns]
    HH, HD = _rest(sums, rest, transform)
    return System(
        names=tuple(wanted[k] for k in kept),
        dropped=tuple(name for k, name in enumerate(wanted) if k not in kept),
        rows=sums.rows,
        eliminated=eliminated,
        rest=rest,
        reduction=None if eliminated is None else _reduction(sums, eliminated, rest, transform),
        HH=HH,
        HD=HD,
        DD=dense[np.ix_(columns, columns)],
        basis=_basis(sums, places[kept]),
        offset=offset[kept],
    )


def _places(wanted: Sequence[str], known: Sequence[str], parameter: str) -> Ints:
    strange = [name for name in wanted if name not in known]
    if strange:
        raise ValueError(f"{parameter} must be among {', '.join(known)}, got {', '.join(strange)}")
    return np.array([list(known).index(name) for name in wanted], dtype=np.int64)


def _transform(sums: CrossProducts, places: Ints) -> tuple[Floats, Floats]:
    """(k, p+1) from the columns added up to the model's, and what the response's shift adds to its coefficients.

    Without an intercept a shifted column is another model's; so the shift is undone, but for the response where the
    fixed columns add up to a constant (all the levels of a category), because then they take the shift up.
    """
    size = len(places)
    transform = np.zeros((len(sums.names), size + 1))
    transform[places, np.arange(size)] = 1.0
    transform[-1, -1] = 1.0
    offset = np.zeros(size)
    if 0 in places:
        offset[list(places).index(0)] = sums.shift[-1]
        return transform, offset
    transform[0, :size] = sums.shift[places]
    products = transform[:, :size].T @ sums.dense
    spanning = np.linalg.lstsq(products @ transform[:, :size], products[:, 0], rcond=None)[0] if size else offset
    if sums.rows - products[:, 0] @ spanning > _SPANNED * sums.rows:
        transform[0, -1] = sums.shift[-1]
        return transform, offset
    return transform, sums.shift[-1] * spanning


def independent_columns(gram: Floats) -> Ints:
    """The columns that no combination of those before them makes: a Cholesky that steps over the others."""
    left = gram.copy()
    scale = np.diagonal(gram).copy()
    kept: list[int] = []
    for k in range(len(gram)):
        if scale[k] <= 0 or left[k, k] <= _ALIASED * scale[k]:
            continue
        kept.append(k)
        left -= np.outer(left[:, k], left[k]) / left[k, k]
    return np.array(kept, dtype=np.int64)


def _basis(sums: CrossProducts, places: Ints) -> Floats:
    basis = np.eye(len(places))
    if 0 in places:
        at = list(places).index(0)
        basis[at] -= sums.shift[places]
    return basis


def _ordered(sums: CrossProducts, chosen: Sequence[int] | Ints) -> tuple[Block | None, tuple[Block, ...]]:
    order = sorted((int(t) for t in chosen), key=lambda t: -sums.own[t].shape[0] * sums.own[t].shape[1])
    blocks: list[Block] = []
    start = 0
    for rank, t in enumerate(order):
        levels, width = sums.own[t].shape[:2]
        blocks.append(Block(t, levels, width, sums.design.factors[t].parts, start if rank else 0))
        start += levels * width if rank else 0
    return (blocks[0], tuple(blocks[1:])) if blocks else (None, ())


def _pair(sums: CrossProducts, t: int, s: int) -> Sparse:
    return sums.pairs[t, s] if t < s else sparse.csr_array(sums.pairs[s, t].T)


def _rest(sums: CrossProducts, rest: tuple[Block, ...], transform: Floats) -> tuple[Floats, Floats]:
    size = sum(block.levels * block.width for block in rest)
    HH = np.zeros((size, size), order="F")
    HD = np.zeros((size, transform.shape[1]))
    for i, block in enumerate(rest):
        HD[block.rows] = sums.with_dense[block.factor] @ transform
        own = sums.own[block.factor]
        for a in range(block.width):
            for b in range(block.width):
                at = block.start + block.width * np.arange(block.levels)
                HH[at + a, at + b] = own[:, a, b]
        for other in rest[:i]:
            products = _pair(sums, block.factor, other.factor).tocoo()
            HH[block.start + products.row, other.start + products.col] = products.data
            HH[other.start + products.col, block.start + products.row] = products.data
    return HH, HD


def _reduction(sums: CrossProducts, eliminated: Block, rest: tuple[Block, ...], transform: Floats) -> Reduction:
    own = sums.own[eliminated.factor]
    pairs = [_pair(sums, eliminated.factor, block.factor) for block in rest]
    empty = sparse.csr_array((eliminated.levels * eliminated.width, 0))
    products = sparse.csr_array(sparse.hstack(pairs, format="csr")) if pairs else empty
    return Reduction(own, products, sums.with_dense[eliminated.factor] @ transform)
