"""What do the rows that were fitted foretell of others from the same groups?

With R = V/σ² of the fitted rows, Z_c the random columns of the others and C = Z_cΦZ', the linear predictor of the
others is, given the fitted rows and β, normal with mean X_cβ + CR⁻¹(y − Xβ) and covariance σ²(Z_cΦZ_c' − CR⁻¹C').
Both follow from v = (Φ⁻¹ + Z'Z)⁻¹Z_c', because ΦZ'R⁻¹ = (Φ⁻¹ + Z'Z)⁻¹Z'; and how they change with Φ follows from
F' = Z_c' − Z'Zv, because with it the derivatives by φ are F Z'R⁻¹(y − Xβ) and FF'.

Source: the conditional normal distribution; the best linear unbiased prediction of Robinson 1991, Statistical Science
6, 15–32.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack

from analysis.models.arrays import Floats
from analysis.models.criterion import Solution
from analysis.models.design import Rows
from analysis.models.scaling import by_level, scaled_rows
from analysis.models.system import System

__all__ = ["Foretold", "Others", "foretold", "level_modes", "others_of"]


@dataclass(frozen=True, eq=False)
class Others:
    """Rows that were not fitted.

    ``X`` (c, p) are their fixed columns as the system has them; ``first`` (q·w, c) and ``rest`` (m, c) their Z_c',
    stacked as the system's blocks are; ``alone`` (c, c), for each of the system's parts, is Z_cZ_c' of the levels that
    no fitted row has a place for.
    """

    X: Floats
    first: Floats
    rest: Floats
    alone: tuple[Floats, ...]


@dataclass(frozen=True, eq=False)
class Foretold:
    """``forms`` (c, p+1): the mean is forms [β, 1]; ``covariance`` (c, c) in units of σ². ``spread_first`` (q·w, c) and
    ``spread_rest`` (m, c) are v, ``left_first`` and ``left_rest`` F'."""

    forms: Floats
    covariance: Floats
    spread_first: Floats
    spread_rest: Floats
    left_first: Floats
    left_rest: Floats


def others_of(system: System, rows: Rows, X: Floats) -> Others:
    """Place rows, whose levels are numbered as the system's sums number them, in the blocks of a system."""
    count = len(X)
    size = 0 if system.eliminated is None else system.eliminated.levels * system.eliminated.width
    first, rest = np.zeros((size, count)), np.zeros((len(system.HD), count))
    alone: list[Floats] = []
    for k, block in enumerate(system.blocks):
        eliminated = k == 0 and system.eliminated is not None
        target, base = (first, 0) if eliminated else (rest, block.start)
        single = [np.zeros((count, count)) for _ in block.parts]
        for at, owner in enumerate(block.owners):
            codes = rows.codes[owner.factor]
            places = owner.places[codes]
            varying = rows.columns[owner.factor]
            values = np.ones((count, 1)) if varying is None else varying
            here = places[:, 0] >= 0
            for a in range(values.shape[1]):
                target[base + places[here, a], np.flatnonzero(here)] += values[here, a]
            if not here.all():
                lost = np.where(here, -1, codes)
                single[at] = ((lost[:, None] == lost[None, :]) & ~here[:, None]).astype(np.float64)
        alone += single
    return Others(X, first, rest, tuple(alone))


def foretold(solution: Solution, others: Others, phi: Floats) -> Foretold:
    """Foretell the others at a solution, whose φ by part are ``phi`` (T,)."""
    system, reduction = solution.system, solution.system.reduction
    right = others.rest
    if reduction is not None:
        right = right - np.asarray(reduction.rest.T @ _by_level(solution.weights, others.first))
    spread = right
    if len(solution.S):
        turned = scaled_rows(solution.rest_factors, system.rest, right, transposed=True)
        solved = np.asarray(lapack.dpotrs(solution.S, turned, lower=1)[0])
        spread = scaled_rows(solution.rest_factors, system.rest, solved, transposed=False)
    first, left_first, left_rest = others.first, others.first, others.rest - np.asarray(system.HH @ spread)
    products = spread.T @ system.HD
    if reduction is not None:
        behind = others.first - np.asarray(reduction.rest @ spread)
        first, left_first = _by_level(solution.weights, behind), _by_level(solution.shrink, behind)
        left_rest = left_rest - np.asarray(reduction.rest.T @ first)
        products = products + first.T @ reduction.dense
    forms = np.column_stack([others.X - products[:, :-1], products[:, -1]])
    covariance = others.first.T @ first + others.rest.T @ spread
    for value, own in zip(phi, others.alone, strict=True):
        covariance = covariance + value * own
    return Foretold(forms, 0.5 * (covariance + covariance.T), first, spread, left_first, left_rest)


def level_modes(solution: Solution, told: Foretold, products: Sequence[Floats], pull: Floats) -> tuple[Floats, ...]:
    """The random effects of each block's levels (q, w), given also what pulls at the others.

    Parameters
    ----------
    products : arrays, shape (q·w,)
        Z'R⁻¹(y − Xβ) of each block.
    pull : array, shape (c,)
        σ² times the derivative of the others' log density by their linear predictors.
    """
    results = []
    for k, (block, factor) in enumerate(zip(solution.system.blocks, solution.factors, strict=True)):
        eliminated = k == 0 and solution.system.eliminated is not None
        spread = told.spread_first if eliminated else told.spread_rest[block.rows]
        own = by_level(products[k][:, None], block.levels)[:, :, 0] @ (factor @ factor.T)
        results.append(own + (spread @ pull).reshape(block.levels, block.width))
    return tuple(results)


def _by_level(weights: Floats, stacked: Floats) -> Floats:
    levels = len(weights)
    return np.asarray(np.matmul(weights, by_level(stacked, levels)).reshape(stacked.shape))
