"""How does a covariance factor that is the same for every level act on the stacked levels of its block?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.models.arrays import Floats
from analysis.models.blocks import Block

__all__ = ["by_level", "scaled_both", "scaled_rows", "square_full"]


def scaled_rows(factors: Sequence[Floats], blocks: Sequence[Block], stacked: Floats, *, transposed: bool) -> Floats:
    """Λ M, or Λ'M where ``transposed``, for M (m, k) with the blocks' rows stacked."""
    result: Floats = np.empty_like(stacked)
    for factor, block in zip(factors, blocks, strict=True):
        part = stacked[block.rows]
        if block.width == 1:
            result[block.rows] = factor[0, 0] * part
        else:
            turned = factor.T if transposed else factor
            result[block.rows] = np.matmul(turned, part.reshape(block.levels, block.width, -1)).reshape(part.shape)
    return result


def scaled_both(
    factors: Sequence[Floats], blocks: Sequence[Block], square: Floats, *, transposed: bool, overwrite: bool = False
) -> Floats:
    """Λ M Λ', or Λ'M Λ where ``transposed``, of a symmetric (m, m).

    From its lower half alone if every width is 1, and then in M's own room where ``overwrite``.
    """
    if all(block.width == 1 for block in blocks):
        theta = np.repeat([factor[0, 0] for factor in factors], [block.levels for block in blocks])
        result = square if overwrite else square.copy(order="K")
        with np.errstate(invalid="ignore", over="ignore"):  # the upper half is whatever stood there, and is not used
            result *= theta
            result *= theta[:, None]
        return result
    half = scaled_rows(factors, blocks, square_full(square), transposed=transposed)
    return np.asfortranarray(scaled_rows(factors, blocks, np.ascontiguousarray(half.T), transposed=transposed))


def square_full(lower: Floats) -> Floats:
    """The symmetric matrix that a lower half stands for."""
    full = np.tril(lower)
    return np.asarray(full + np.tril(full, -1).T)


def by_level(stacked: Floats, levels: int) -> Floats:
    """(q·c, k) as (q, c, k)."""
    return stacked.reshape(levels, stacked.shape[0] // max(levels, 1), -1)
