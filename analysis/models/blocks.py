"""Which random columns are solved for together?

A factor is a block: its levels, and the columns that vary over them. Where the largest factor lies within another (runs
within batches) the two make one block, whose levels are the batches and whose columns are the batch itself and its
first, second, … run: every product of a batch's columns then stays within its level, and both are eliminated exactly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.arrays import Floats, Ints, Sparse
from analysis.models.cross_products import CrossProducts

__all__ = ["Block", "Owner", "Part", "blocks_of", "own_products", "pair_products", "stacked_products"]

_WIDEST = 12  # a batch of more runs than that makes a block so wide that a dense factor of the batches is faster
_WORTH = 30  # levels of the outer factor below which its dense factor costs nothing


@dataclass(frozen=True)
class Part:
    """Columns ``start`` to ``stop`` of a block: of one covariance, or ``tied``, independent with one variance."""

    start: int
    stop: int
    tied: bool


@dataclass(frozen=True, eq=False)
class Owner:
    """A factor's index in the sums, and where in the block each of its levels and columns is, (q, c); −1: nowhere.

    Nowhere is a run whose rows were all left out, so that no batch is known for it.
    """

    factor: int
    places: Ints


@dataclass(frozen=True, eq=False)
class Block:
    """``levels`` q and ``width`` c; row l·c + a is column a of level l. ``start`` is its first row among the rest."""

    levels: int
    width: int
    parts: tuple[Part, ...]
    owners: tuple[Owner, ...]
    start: int

    @property
    def rows(self) -> slice:
        """The block's rows among those of the rest."""
        return slice(self.start, self.start + self.levels * self.width)


def blocks_of(sums: CrossProducts, chosen: Sequence[int]) -> tuple[Block, ...]:
    """The blocks of the chosen factors, the one to eliminate first."""
    order = sorted(chosen, key=lambda t: -sums.own[t].shape[0] * sums.own[t].shape[1])
    blocks: list[Block] = []
    if order and (outer := _outer(sums, order)) is not None:
        blocks.append(_nested(sums, order[0], outer))
        order = [t for t in order[1:] if t != outer]
    start = 0
    for t in order:
        levels, width = sums.own[t].shape[:2]
        places = np.arange(levels * width, dtype=np.int64).reshape(levels, width)
        parts = tuple(Part(first, last, last - first == 1) for first, last in sums.design.factors[t].parts)
        blocks.append(Block(levels, width, parts, (Owner(t, places),), start if blocks else 0))
        start += levels * width if len(blocks) > 1 else 0
    return tuple(blocks)


def pair_products(sums: CrossProducts, t: int, s: int) -> Sparse:
    """Z_t'Z_s."""
    return sums.pairs[t, s] if t < s else sums.pairs[s, t].T.tocsr()


def own_products(sums: CrossProducts, block: Block) -> Floats:
    """A block's products with itself by level, (q, c, c)."""
    if len(block.owners) == 1:
        return sums.own[block.owners[0].factor]
    outer, inner = block.owners
    own = np.zeros((block.levels, block.width, block.width))
    own[:, 0, 0] = sums.own[outer.factor][:, 0, 0]
    present = inner.places[:, 0] >= 0
    level, column = np.divmod(inner.places[present, 0], block.width)
    counts = sums.own[inner.factor][present, 0, 0]
    own[level, column, column] = own[level, column, 0] = own[level, 0, column] = counts
    return own


def stacked_products(block: Block, by_factor: Sequence[Floats]) -> Floats:
    """Products of the block's factors with the same k columns, (q_t·c_t, k) each, in the block's rows (q·c, k)."""
    if len(block.owners) == 1:
        return by_factor[0]
    stacked = np.zeros((block.levels * block.width, by_factor[0].shape[1]))
    for owner, products in zip(block.owners, by_factor, strict=True):
        present = owner.places.ravel() >= 0
        stacked[owner.places.ravel()[present]] = products[present]
    return stacked


def _outer(sums: CrossProducts, order: Sequence[int]) -> int | None:
    """The factor that the largest one lies within, if that is worth a block of both."""
    inner = order[0]
    if sums.design.factors[inner].columns != ("Intercept",):
        return None
    for t in order[1:]:
        if sums.design.factors[t].columns != ("Intercept",) or sums.own[t].shape[0] < _WORTH:
            continue
        pair = pair_products(sums, inner, t)
        if np.diff(pair.indptr).max() <= 1 and np.bincount(pair.indices).max() < _WIDEST:
            return t
    return None


def _nested(sums: CrossProducts, inner: int, outer: int) -> Block:
    pair = pair_products(sums, inner, outer)
    present = np.flatnonzero(np.diff(pair.indptr))
    within = pair.indices.astype(np.int64)  # the one level of the outer factor of each that is present
    levels = sums.own[outer].shape[0]
    order = np.argsort(within, kind="stable")
    counts = np.bincount(within, minlength=levels)
    column = np.empty(len(within), dtype=np.int64)
    column[order] = 1 + np.arange(len(within)) - np.repeat(np.cumsum(counts) - counts, counts)
    width = 1 + int(counts.max())
    at = np.full((pair.shape[0], 1), -1, dtype=np.int64)
    at[present, 0] = within * width + column
    places = Owner(inner, at)
    first = Owner(outer, (np.arange(levels, dtype=np.int64) * width)[:, None])
    return Block(levels, width, (Part(0, 1, True), Part(1, width, True)), (first, places), 0)
