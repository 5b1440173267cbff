"""How sharply does the profiled deviance bend in the variances?

With w_i = Z_iZ_i'Py the average information of the profiled deviance is w_i'Pw_j/σ² − (y'Pw_i)(y'Pw_j)/(nσ⁴), a mean
of what is observed and what is expected in which the traces cancel.

Source: Gilmour, Thompson & Cullis 1995, Biometrics 51, 1440–1450.
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import lapack

from analysis.models.arrays import Floats
from analysis.models.criterion import Solution
from analysis.models.gradient import eliminated_products, rest_products
from analysis.models.scaling import by_level, scaled_rows

__all__ = ["average_information"]


def average_information(solution: Solution, reml: bool) -> Floats:
    """The second derivative of the deviance by φ, averaged, for parts of one variance each, (k, k)."""
    system = solution.system
    first, second = eliminated_products(solution), rest_products(solution)
    turn = np.concatenate([-solution.coefficients, [1.0]])
    from_first, from_rest = _sources(solution, first @ turn, second @ turn)
    through_first, through_rest, fixed = _through(solution, from_first, from_rest)
    inner = from_rest.T @ through_rest - fixed.T @ solution.unscaled @ fixed
    if system.eliminated is not None:
        inner = inner + from_first.T @ through_first
    size = from_first.T @ (first @ turn) + from_rest.T @ (second @ turn)
    df = solution.degrees(reml)
    scale = solution.sum_of_squares / df
    return np.asarray(inner / scale - np.outer(size, size) / (df * scale**2))


def _sources(solution: Solution, first: Floats, second: Floats) -> tuple[Floats, Floats]:
    """Z_i'Py for each part as a column of its own, over the eliminated factor's rows and over the rest's."""
    blocks = solution.system.blocks
    count = sum(len(block.parts) for block in blocks)
    from_first, from_rest = np.zeros((len(first), count)), np.zeros((len(second), count))
    at = 0
    for k, block in enumerate(blocks):
        eliminated = k == 0 and solution.system.eliminated is not None
        source, target, base = (first, from_first, 0) if eliminated else (second, from_rest, block.start)
        for part in block.parts:
            for column in range(part.start, part.stop):
                rows = slice(base + column, base + block.levels * block.width, block.width)
                target[rows, at] = source[rows]
            at += 1
    return from_first, from_rest


def _through(solution: Solution, from_first: Floats, from_rest: Floats) -> tuple[Floats, Floats, Floats]:
    """Z'V⁻¹Z times the sources, for the eliminated factor and the rest, and X'V⁻¹Z times them."""
    system, reduction = solution.system, solution.system.reduction
    with_rest = solution.rest_times(from_rest)
    with_fixed = solution.ND[:, :-1].T @ from_rest
    first = np.zeros_like(from_first)
    if reduction is not None:
        shrunk = np.matmul(solution.shrink.transpose(0, 2, 1), by_level(from_first, reduction.levels)).reshape(
            from_first.shape
        )
        with_rest += np.asarray(reduction.rest.T @ shrunk)
        with_fixed = with_fixed + reduction.dense[:, :-1].T @ shrunk
        own = np.matmul(reduction.own, by_level(shrunk, reduction.levels)).reshape(from_first.shape)
        rest = np.asarray(reduction.rest @ from_rest)
        first = own + np.matmul(solution.shrink, by_level(rest, reduction.levels)).reshape(rest.shape)
    if not len(solution.S):
        return first, with_rest, with_fixed
    turned = scaled_rows(solution.rest_factors, system.rest, with_rest, transposed=True)
    solved = np.asarray(lapack.dpotrs(solution.S, turned, lower=1)[0])
    spread = scaled_rows(solution.rest_factors, system.rest, solved, transposed=False)
    with_fixed = with_fixed - solution.ND[:, :-1].T @ spread
    if reduction is not None:
        taken = np.asarray(reduction.rest @ spread)
        first = first - np.matmul(solution.shrink, by_level(taken, reduction.levels)).reshape(taken.shape)
    return first, with_rest - solution.rest_times(spread), with_fixed
