"""From which variances does a search best start?

From those that equate sums of squares with what is expected of them: with e what ordinary least squares leaves, the sum
over the columns r of a random part of (z_r'e)² / z_r'z_r is expected to be Σ_k σ_k² Σ_rs (z_r'z_s)² / z_r'z_r, over the
columns s of each part k, and a column for each row gives σ². Near enough in a large data set that its search needs no
more steps than that of a small one.

Source: Henderson 1953, Biometrics 9, 226–252, method 1, which has no fixed columns but the constant.
"""

from __future__ import annotations

import numpy as np
from scipy import sparse

from analysis.models.arrays import Floats
from analysis.models.system import System

__all__ = ["variances_by_moments"]

_LEAST, _MOST = 0.1, 1e3


def variances_by_moments(system: System) -> Floats:
    """The variance of each part over the residual's (T,); 1 where the sums of squares cannot tell it.

    A part whose columns have n rows on average is given at least 0.1 / n, because a search rises from 0 by small steps.
    """
    squares, across, rows, own = _sums_of_squares(system)
    count = len(own)
    if not count:
        return np.zeros(0)
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


def _sums_of_squares(system: System) -> tuple[Floats, Floats, Floats, Floats]:
    """For each part Σ (z'e)² / z'z, its expected share of each part's variance (T, T), its columns and Σ z'z."""
    products, of_part = _columns(system)
    across, size = _products(system), products @ _turn(system)
    lengths = np.asarray(across.diagonal())
    known = lengths > 0
    over = np.where(known, 1.0 / np.where(known, lengths, 1.0), 0.0)
    squared = across.multiply(across)
    by_part = np.asarray((of_part.T @ (sparse.diags_array(over) @ squared) @ of_part).todense())
    return of_part.T @ (over * size**2), by_part, of_part.T @ known.astype(np.float64), of_part.T @ lengths


def _columns(system: System) -> tuple[Floats, sparse.csr_array]:
    """Z'D of all random columns, the eliminated ones first, and which part each is of, (columns, T)."""
    first = np.zeros((0, system.HD.shape[1])) if system.reduction is None else system.reduction.dense
    part, at = [], 0
    for block in system.blocks:
        of_column = np.concatenate([np.full(p.stop - p.start, at + k) for k, p in enumerate(block.parts)])
        part.append(np.tile(of_column, block.levels))
        at += len(block.parts)
    places = np.concatenate([*part, np.zeros(0, dtype=np.int64)]).astype(np.int64)
    entries = (np.ones(len(places)), (np.arange(len(places)), places))
    return np.vstack([first, system.HD]), sparse.csr_array(entries, shape=(len(places), at))


def _products(system: System) -> sparse.csr_array:
    """Z'Z of all random columns."""
    if system.reduction is None:
        return sparse.csr_array(system.HH)
    own = system.reduction.own
    levels = len(own)
    blocks = (np.ascontiguousarray(own), np.arange(levels), np.arange(levels + 1))
    first = sparse.csr_array(sparse.bsr_array(blocks, shape=(levels * own.shape[1],) * 2))
    rest = sparse.csr_array(system.reduction.rest)
    return sparse.csr_array(sparse.block_array([[first, rest], [rest.T, system.HH]]))
