"""Which way does the profiled deviance fall?

By the relative covariance Φ_t of factor t, with e = y − Xβ: of log|V|, Σ_l [Z_t'V⁻¹Z_t]_ll; of log|X'V⁻¹X|,
−Σ_l [Z_t'V⁻¹X (X'V⁻¹X)⁻¹ X'V⁻¹Z_t]_ll; of r², −Σ_l [Z_t'V⁻¹e e'V⁻¹Z_t]_ll, each (c, c) for the factor's c columns.
By its factor Λ, twice that times Λ.

Source: from memory, the derivatives of the restricted likelihood (Harville 1977, J. Am. Stat. Assoc. 72, 320–338).
"""

from __future__ import annotations

import numpy as np
from scipy.linalg import lapack
from scipy.linalg.blas import dsymm

from analysis.models.arrays import Floats
from analysis.models.blocks import Block
from analysis.models.criterion import Solution
from analysis.models.reduction import Reduction
from analysis.models.scaling import by_level, scaled_both, scaled_rows, square_full

__all__ = ["eliminated_products", "gradient", "rest_kernel", "rest_products"]


def gradient(solution: Solution, reml: bool) -> tuple[Floats, ...]:
    """The deviance's derivative by each block's Λ, (c, c) each, in the order of the system's blocks.

    Where Λ is the diagonal θ, the derivative by θ² is its entry divided by 2θ; θ must not be exactly 0.
    """
    system = solution.system
    with_rest = rest_products(solution)
    inverse = _inverse(solution.S)
    kernel = scaled_both(solution.rest_factors, system.rest, inverse, transposed=False) if len(inverse) else inverse
    results: list[Floats] = []
    if system.eliminated is not None and system.reduction is not None:
        block = system.eliminated
        quadratic = _quadratic(solution, eliminated_products(solution), block, reml)
        results.append(
            2.0 * (_trace_of_eliminated(solution, system.reduction, kernel) - quadratic) @ solution.factors[0]
        )
    traces = _traces_of_rest(solution, inverse, kernel)
    for block, factor, trace in zip(system.rest, solution.rest_factors, traces, strict=True):
        results.append(2.0 * (trace - _quadratic(solution, with_rest[block.rows], block, reml) @ factor))
    return tuple(results)


def rest_kernel(solution: Solution) -> Floats:
    """K = Λ(I + Λ'NΛ)⁻¹Λ', (m, m), so that V⁻¹ = V_e⁻¹ − V_e⁻¹Z_r K Z_r'V_e⁻¹."""
    inverse = square_full(_inverse(solution.S))
    if not len(inverse):
        return inverse
    return scaled_both(solution.rest_factors, solution.system.rest, inverse, transposed=False)


def rest_products(solution: Solution) -> Floats:
    """Z_r'V⁻¹D, (m, p+1)."""
    if not len(solution.N):
        return solution.ND
    spread = scaled_rows(solution.rest_factors, solution.system.rest, solution.A, transposed=False)
    return solution.ND - np.asarray(dsymm(1.0, solution.N, np.asfortranarray(spread), lower=1))


def eliminated_products(solution: Solution) -> Floats:
    """Z_e'V⁻¹D, (q·c, p+1)."""
    reduction = solution.system.reduction
    if reduction is None:
        return np.zeros((0, len(solution.G)))
    spread = scaled_rows(solution.rest_factors, solution.system.rest, solution.A, transposed=False)
    left = reduction.dense - np.asarray(reduction.rest @ spread)
    return np.asarray(np.matmul(solution.shrink, by_level(left, reduction.levels)).reshape(left.shape))


def _inverse(factor: Floats) -> Floats:
    """The lower half of the inverse, from the Cholesky factor."""
    return np.asarray(lapack.dpotri(factor, lower=1)[0]) if len(factor) else factor


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


def _trace_of_eliminated(solution: Solution, reduction: Reduction, kernel: Floats) -> Floats:
    """Σ_l [Z_e'V⁻¹Z_e]_ll."""
    shrink = solution.shrink
    result = np.asarray((shrink @ reduction.own).sum(axis=0))
    if not len(kernel):
        return result
    for a in range(reduction.width):
        for b in range(a + 1):
            weights = shrink[:, a, :, None] * shrink[:, b, None, :]
            crossed = reduction.of_rest(0.5 * (weights + weights.transpose(0, 2, 1)))
            taken = _symmetric_trace(kernel, crossed)
            result[a, b] -= taken
            result[b, a] -= taken if a != b else 0.0
    return result


def _symmetric_trace(first: Floats, second: Floats) -> float:
    """tr(F S) of two symmetric matrices given by their lower halves."""
    product = np.tril(first * second)
    return 2.0 * float(product.sum()) - float(np.trace(product))


def _traces_of_rest(solution: Solution, inverse: Floats, kernel: Floats) -> list[Floats]:
    """Σ_l [Z_t'V⁻¹Z_t]_ll Λ_t for each rest block."""
    system = solution.system
    if all(block.width == 1 for block in system.rest):
        product = np.tril(solution.N * kernel)
        sums = product.sum(axis=0) + product.sum(axis=1) - np.diagonal(product)
        return [
            np.array([[sums[block.rows].sum() / factor[0, 0]]])
            for block, factor in zip(system.rest, solution.rest_factors, strict=True)
        ]
    full, products = square_full(inverse), square_full(solution.N)
    turned = scaled_rows(
        solution.rest_factors, system.rest, products, transposed=True
    )  # Λ'N, so that NΛ is its transpose
    return [np.einsum("jla,jlb->ab", *(_columns(each, block) for each in (turned, full))) for block in system.rest]


def _columns(square: Floats, block: Block) -> Floats:
    return square[:, block.rows].reshape(len(square), block.levels, block.width)
