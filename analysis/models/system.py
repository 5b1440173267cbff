"""Which part of the sums does one model need, and in which order is it solved?

The factor with most levels is eliminated exactly: its block of Z'Z is diagonal by level. What is left, the other
factors r and the dense columns D = [X, y], is small and dense. With V = I + ZΦZ', the covariance of the response in
units of the residual variance, V_e the part of the eliminated factor e and Φ_e its covariance,

    H'V_e⁻¹H = H'H − Σ_l B_l' W_l B_l,   W_l = Φ_e (I + n_l Φ_e)⁻¹,   H = [Z_r | D],   B_l = Z_l'H,

which holds where Φ_e is zero too (Woodbury's identity, level by level).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.arrays import CannotFitError, Floats, Ints, Sparse, added_entries, check_dense
from analysis.models.blocks import Block, blocks_of, own_products, pair_products, stacked_products
from analysis.models.cross_products import CrossProducts
from analysis.models.reduction import Reduction

__all__ = ["System", "independent_columns", "system_of"]

_ALIASED = 1e-8  # what is left of a column's sum of squares, of 1, after the columns before it
_SPANNED = 1e-10


@dataclass(frozen=True)
class System:
    """The sums of one model, ordered for solving.

    ``HH`` (m, m), sparse, ``HD`` (m, p+1) and ``DD`` (p+1, p+1) are the products of the rest factors and of the dense
    columns, the response last. ``factors`` are those of the sums that the model has. ``basis`` (p, p) and ``offset``
    (p,) lead from the coefficients b of the shifted columns to those of the columns as given: β = basis b + offset.
    """

    names: tuple[str, ...]
    dropped: tuple[str, ...]
    rows: int
    factors: tuple[int, ...]
    eliminated: Block | None
    rest: tuple[Block, ...]
    reduction: Reduction | None
    HH: Sparse
    HD: Floats
    DD: Floats
    basis: Floats
    offset: Floats

    def lengths(self, block: Block) -> Floats:
        """z'z of a block's columns, (q, c)."""
        if self.reduction is not None and block is self.eliminated:
            return np.asarray(self.reduction.own.diagonal(axis1=1, axis2=2))
        return np.asarray(self.HH.diagonal()[block.rows].reshape(block.levels, block.width))

    def own_factor(self, factor: int, factors: Sequence[Floats]) -> Floats:
        """A factor's own Λ (c, c), of those of the blocks."""
        for block, each in zip(self.blocks, factors, strict=True):
            for owner in block.owners:
                if owner.factor == factor:
                    columns = owner.places[owner.places[:, 0] >= 0][0] % block.width
                    return each[np.ix_(columns, columns)]
        raise ValueError(f"factor must be one of the model's, got {factor}")

    def block_factors(self, own: Mapping[int, Floats]) -> tuple[Floats, ...]:
        """The blocks' Λ, from each factor's own; the identity for one that is not given."""
        results = []
        for block in self.blocks:
            first = own.get(block.owners[0].factor)
            result = np.eye(block.width)
            size = block.width if len(block.owners) == 1 else 1
            if first is not None:
                result[:size, :size] = first
            if len(block.owners) == 2 and (inner := own.get(block.owners[1].factor)) is not None:
                np.fill_diagonal(result[1:, 1:], inner[0, 0])
            results.append(result)
        return tuple(results)

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
        If there are no more rows than independent fixed columns, or two factors have more levels than memory is for.
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
    factors = tuple(range(len(sums.own))) if chosen is None else tuple(int(t) for t in chosen)
    blocks = blocks_of(sums, factors)
    eliminated, rest = (blocks[0] if blocks else None), blocks[1:]
    _check_size(sums, rest)
    transform = transform[:, columns]
    HH, HD = _rest(sums, rest, transform)
    return System(
        names=tuple(wanted[k] for k in kept),
        dropped=tuple(name for k, name in enumerate(wanted) if k not in kept),
        rows=sums.rows,
        factors=tuple(sorted(factors)),
        eliminated=eliminated,
        rest=rest,
        reduction=None if eliminated is None else _reduction(sums, eliminated, rest, transform),
        HH=HH,
        HD=HD,
        DD=dense[np.ix_(columns, columns)],
        basis=_basis(sums, places[kept]),
        offset=offset[kept],
    )


def _check_size(sums: CrossProducts, rest: tuple[Block, ...]) -> None:
    names = [sums.design.factors[owner.factor].name for block in rest for owner in block.owners]
    check_dense(sum(block.levels * block.width for block in rest), " and ".join(names))


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


def _rest(sums: CrossProducts, rest: tuple[Block, ...], transform: Floats) -> tuple[Sparse, Floats]:
    size = sum(block.levels * block.width for block in rest)
    HD = np.zeros((size, transform.shape[1]))
    rows: list[Ints] = []
    columns: list[Ints] = []
    values: list[Floats] = []
    for i, block in enumerate(rest):
        factor = block.owners[0].factor
        HD[block.rows] = sums.with_dense[factor] @ transform
        at = block.start + block.width * np.arange(block.levels)
        for a in range(block.width):
            for b in range(block.width):
                rows.append(at + a)
                columns.append(at + b)
                values.append(sums.own[factor][:, a, b])
        for other in rest[:i]:
            products = pair_products(sums, factor, other.owners[0].factor).tocoo()
            rows += [block.start + products.row, other.start + products.col]
            columns += [other.start + products.col, block.start + products.row]
            values += [products.data, products.data]
    return added_entries(values, columns, rows, (size, size)).T, HD


def _reduction(sums: CrossProducts, eliminated: Block, rest: tuple[Block, ...], transform: Floats) -> Reduction:
    dense = stacked_products(eliminated, [sums.with_dense[owner.factor] @ transform for owner in eliminated.owners])
    size = eliminated.levels * eliminated.width
    rows: list[Ints] = []
    columns: list[Ints] = []
    values: list[Floats] = []
    for owner in eliminated.owners:
        for block in rest:
            products = pair_products(sums, owner.factor, block.owners[0].factor).tocoo()
            at = owner.places.ravel()[products.row]
            rows.append(at[at >= 0])
            columns.append(block.start + products.col[at >= 0])
            values.append(products.data[at >= 0])
    count = sum(block.levels * block.width for block in rest)
    return Reduction(own_products(sums, eliminated), added_entries(values, rows, columns, (size, count)), dense)
