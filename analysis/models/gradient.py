"""Which way does the profiled deviance fall?

By the relative covariance Φ_t of factor t, with e = y − Xβ: of log|V|, Σ_l [Z_t'V⁻¹Z_t]_ll; of log|X'V⁻¹X|,
−Σ_l [Z_t'V⁻¹X (X'V⁻¹X)⁻¹ X'V⁻¹Z_t]_ll; of r², −Σ_l [Z_t'V⁻¹e e'V⁻¹Z_t]_ll, each (c, c) for the factor's c columns.
By its factor Λ, twice that times Λ.

Source: from memory, the derivatives of the restricted likelihood (Harville 1977, J. Am. Stat. Assoc. 72, 320–338).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import lapack

from analysis.models.arrays import Floats
from analysis.models.blocks import Block
from analysis.models.criterion import Solution
from analysis.models.reduction import Reduction
from analysis.models.scaling import by_level, scaled_both, scaled_rows, square_full

__all__ = ["eliminated_products", "gradient", "rest_kernel", "rest_products", "traces"]


def gradient(solution: Solution, reml: bool, *, spend: bool = False) -> tuple[Floats, ...]:
    """The deviance's derivative by each block's Λ, (c, c) each, in the order of the system's blocks.

    Where Λ is the diagonal θ, the derivative by θ² is its entry divided by 2θ; θ must not be exactly 0. Of a part whose
    columns are tied only the sum of the diagonal is meant.

    Parameters
    ----------
    spend : bool
        Overwrite the solution's ``S``, which saves a matrix of its size.
    """
    system = solution.system
    with_rest = rest_products(solution)
    products = [] if system.eliminated is None else [eliminated_products(solution)]
    products += [with_rest[block.rows] for block in system.rest]
    results: list[Floats] = []
    each = zip(system.blocks, solution.factors, products, traces(solution, spend=spend), strict=True)
    for block, factor, own, trace in each:
        results.append(2.0 * (trace - _quadratic(solution, own, block, reml) @ factor))
    return tuple(results)


def traces(solution: Solution, *, spend: bool = False) -> tuple[Floats, ...]:
    """Σ_l [Z_t'V⁻¹Z_t]_ll Λ_t of each block, (c, c) each, in the order of the system's blocks."""
    system = solution.system
    inverse = _inverse(solution.S, overwrite=spend and solution.plain)
    kernel = scaled_both(solution.rest_factors, system.rest, inverse, transposed=False, overwrite=solution.plain)
    found: list[Floats] = []
    if system.eliminated is not None and system.reduction is not None:
        found.append(_trace_of_eliminated(solution, system.eliminated, system.reduction, kernel) @ solution.factors[0])
    return (*found, *(_plain_traces(solution, kernel) if solution.plain else _traces(solution, inverse)))


def rest_kernel(solution: Solution) -> Floats:
    """K = Λ(I + Λ'NΛ)⁻¹Λ', (m, m), so that V⁻¹ = V_e⁻¹ − V_e⁻¹Z_r K Z_r'V_e⁻¹."""
    inverse = square_full(_inverse(solution.S))
    if not len(inverse):
        return inverse
    return scaled_both(solution.rest_factors, solution.system.rest, inverse, transposed=False)


def rest_products(solution: Solution) -> Floats:
    """Z_r'V⁻¹D, (m, p+1)."""
    spread = scaled_rows(solution.rest_factors, solution.system.rest, solution.A, transposed=False)
    return solution.ND - solution.rest_times(spread)


def eliminated_products(solution: Solution) -> Floats:
    """Z_e'V⁻¹D, (q·c, p+1)."""
    reduction = solution.system.reduction
    if reduction is None:
        return np.zeros((0, len(solution.G)))
    spread = scaled_rows(solution.rest_factors, solution.system.rest, solution.A, transposed=False)
    left = reduction.dense - np.asarray(reduction.rest @ spread)
    return np.asarray(np.matmul(solution.shrink, by_level(left, reduction.levels)).reshape(left.shape))


def _inverse(factor: Floats, *, overwrite: bool = False) -> Floats:
    """The lower half of the inverse, from the Cholesky factor."""
    return np.asarray(lapack.dpotri(factor, lower=1, overwrite_c=overwrite)[0]) if len(factor) else factor


def _quadratic(solution: Solution, products: Floats, block: Block, reml: bool) -> Floats:
    """What log|X'V⁻¹X| and r² contribute to −dDeviance/dΦ."""
    residual: Floats = products[:, -1] - products[:, :-1] @ solution.coefficients
    levels = by_level(residual[:, None], block.levels)[:, :, 0]
    result = (solution.degrees(reml) / solution.sum_of_squares) * (levels.T @ levels)
    if reml:
        with_fixed = by_level(products[:, :-1], block.levels)
        weighted = with_fixed @ solution.unscaled
        result = result + np.einsum("lap,lbp->ab", weighted, with_fixed)
    return np.asarray(result)


def _trace_of_eliminated(solution: Solution, block: Block, reduction: Reduction, kernel: Floats) -> Floats:
    """Σ_l [Z_e'V⁻¹Z_e]_ll within each part; the mean of the diagonal where the part's columns are tied."""
    shrink = solution.shrink
    whole = np.asarray((shrink @ reduction.own).sum(axis=0))
    result = np.zeros_like(whole)
    for part in block.parts:
        columns = range(part.start, part.stop)
        if part.tied:
            rows = shrink[:, part.start : part.stop]
            total = np.trace(whole[part.start : part.stop, part.start : part.stop])
            total -= reduction.trace(kernel, rows.transpose(0, 2, 1) @ rows) if len(kernel) else 0.0
            result[columns, columns] = total / len(columns)
            continue
        for a in columns:
            for b in range(part.start, a + 1):
                weights = shrink[:, a, :, None] * shrink[:, b, None, :]
                symmetric = 0.5 * (weights + weights.transpose(0, 2, 1))
                taken = reduction.trace(kernel, symmetric) if len(kernel) else 0.0
                result[a, b] = result[b, a] = whole[a, b] - taken
    return result


def _plain_traces(solution: Solution, kernel: Floats) -> list[Floats]:
    """Σ_l [Z_t'V⁻¹Z_t]_ll Λ_t for each rest block, every block of one column."""
    sums = np.zeros(len(kernel))
    for start, stop, block in solution.rest_blocks():
        product = block * kernel[start:, start:stop]
        product[: stop - start] = np.tril(product[: stop - start])
        sums[start:stop] += product.sum(axis=0) - np.diagonal(product)
        sums[start:] += product.sum(axis=1)
    pairs = zip(solution.system.rest, solution.rest_factors, strict=True)
    return [np.array([[sums[block.rows].sum() / factor[0, 0]]]) for block, factor in pairs]


def _traces(solution: Solution, inverse: Floats) -> list[Floats]:
    """The same for blocks of any width."""
    rest = solution.system.rest
    turned = scaled_rows(solution.rest_factors, rest, solution.rest_square(), transposed=True)  # (NΛ)'
    full = square_full(inverse)
    return [np.einsum("jla,jlb->ab", *(_columns(each, block) for each in (turned, full))) for block in rest]


def _columns(square: Floats, block: Block) -> Floats:
    return square[:, block.rows].reshape(len(square), block.levels, block.width)
