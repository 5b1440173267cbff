"""From which variances does a search best start?

From those that equate sums of squares with what is expected of them: with e what ordinary least squares leaves, the sum
over the columns r of a random part of (z_r'e)² / z_r'z_r is expected to be Σ_k σ_k² Σ_rs (z_r'z_s)² / z_r'z_r, over the
columns s of each part k, and a column for each row gives σ². Near enough in a large data set that its search needs no
more steps than that of a small one.

Source: Henderson 1953, Biometrics 9, 226–252, method 1, which has no fixed columns but the constant.
"""

from __future__ import annotations

import numpy as np

from analysis.models.arrays import Floats
from analysis.models.reduction import Reduction
from analysis.models.scaling import by_level
from analysis.models.system import System

__all__ = ["variances_by_moments"]

_LEAST, _MOST = 0.1, 1e3


def variances_by_moments(system: System) -> Floats:
    """The variance of each part over the residual's (T,); 1 where the sums of squares cannot tell it.

    A part whose columns have n rows on average is given at least 0.1 / n, because a search rises from 0 by small steps.
    """
    if system.reduction is None:
        return np.zeros(0)
    squares, across, rows, own = _sums_of_squares(system, system.reduction)
    count = len(own)
    residual = np.concatenate([squares, [_left(system)]])
    expected = np.zeros((count + 1, count + 1))
    expected[:count, :count] = across
    expected[:count, count], expected[count, :count] = rows, own
    expected[count, count] = system.rows - len(system.names)
    try:
        found = np.linalg.solve(expected, residual)
    except np.linalg.LinAlgError:
        return np.ones(count)
    if not np.isfinite(found).all() or found[-1] <= 0:
        return np.ones(count)
    return np.asarray(np.clip(found[:-1] / found[-1], _LEAST * rows / own, _MOST))


def _left(system: System) -> float:
    """e'e."""
    turn = _turn(system)
    return float(turn @ system.DD @ turn)


def _turn(system: System) -> Floats:
    """(p+1,): what makes e of the dense columns."""
    fixed = system.DD[:-1, :-1]
    beta = np.linalg.lstsq(fixed, system.DD[:-1, -1], rcond=None)[0] if len(fixed) else np.zeros(0)
    return np.append(-beta, 1.0)


def _sums_of_squares(system: System, reduction: Reduction) -> tuple[Floats, Floats, Floats, Floats]:
    """For each part Σ (z'e)² / z'z, its expected share of each part's variance (T, T), its columns and Σ z'z."""
    of_part = _parts(system)
    size = np.concatenate([reduction.dense @ _turn(system), system.HD @ _turn(system)])
    lengths, squared = _lengths_and_squares(system, reduction, of_part)
    known = lengths > 0
    over = np.where(known, 1.0 / np.where(known, lengths, 1.0), 0.0)
    by_part = of_part.T @ (over[:, None] * squared)
    return of_part.T @ (over * size**2), by_part, of_part.T @ known.astype(np.float64), of_part.T @ lengths


def _parts(system: System) -> Floats:
    """Which part each random column is of, the eliminated ones first, (columns, T)."""
    part, at = [], 0
    for block in system.blocks:
        of_column = np.concatenate([np.full(p.stop - p.start, at + k) for k, p in enumerate(block.parts)])
        part.append(np.tile(of_column, block.levels))
        at += len(block.parts)
    return np.asarray(np.concatenate(part)[:, None] == np.arange(at), dtype=np.float64)


def _lengths_and_squares(system: System, reduction: Reduction, of_part: Floats) -> tuple[Floats, Floats]:
    """z_r'z_r of each random column, and Σ (z_r'z_s)² over the columns s of each part, (columns, T).

    From the products as they are held: all of Z'Z would be several times as large as the sums.
    """
    own, rest, count = reduction.own, reduction.rest, reduction.levels * reduction.width
    first, others = of_part[:count], of_part[count:]
    rest = rest.multiply(rest) if reduction.sparse else rest**2
    of_first = np.matmul(own**2, by_level(first, reduction.levels)).reshape(first.shape) + rest @ others
    of_rest = rest.T @ first + system.HH.multiply(system.HH) @ others
    lengths = np.concatenate([system.lengths(block).ravel() for block in system.blocks])
    return lengths, np.vstack([of_first, of_rest])
