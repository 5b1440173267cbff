"""What is the profiled deviance of a Gaussian mixed model at given relative covariances?

With V = I + ZΦZ' in units of the residual variance, D = [X, y] and r² the generalised residual sum of squares,

    ML:    log|V| + n (1 + log(2π r²/n))
    REML:  log|V| + log|X'V⁻¹X| + (n − p)(1 + log(2π r²/(n − p)))

Source: Bates, Mächler, Bolker & Walker 2015, J. Stat. Softw. 67(1), equations 34 and 42.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.linalg import lapack
from scipy.linalg.blas import dsymm

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.scaling import scaled_both, scaled_rows, square_full
from analysis.models.system import System

__all__ = ["Solution", "solve"]

_EXACT_FIT = 1e-13  # share of the response's sum of squares below which what is left is rounding


@dataclass(frozen=True)
class Solution:
    """A model solved at one set of relative covariances Φ = ΛΛ'.

    ``factors`` are the Λ of each block, the eliminated one first; ``shrink`` (q, c, c) the E_l = (I + n_l Φ_e)⁻¹ of the
    eliminated factor's levels and ``weights`` (q, c, c) their W_l, which make N = Z_r'V_e⁻¹Z_r, (m, m): its lower half
    is kept as ``N`` where it is dense. ``ND`` (m, p+1) is Z_r'V_e⁻¹D; ``S`` (m, m), lower, the Cholesky factor of
    I + Λ'NΛ; ``A`` (m, p+1) is S⁻¹Λ'Z_r'V_e⁻¹D; ``G`` (p+1, p+1) is D'V⁻¹D. ``unscaled`` (p, p) is (X'V⁻¹X)⁻¹,
    ``log_det`` log|V| and ``log_det_fixed`` log|X'V⁻¹X|.
    """

    system: System
    factors: tuple[Floats, ...]
    weights: Floats
    N: Floats | None
    ND: Floats
    S: Floats
    A: Floats
    G: Floats
    shrink: Floats
    coefficients: Floats
    unscaled: Floats
    sum_of_squares: float
    log_det: float
    log_det_fixed: float

    @property
    def size(self) -> int:
        """The rest's columns, m."""
        return len(self.ND)

    @property
    def plain(self) -> bool:
        """Whether every block of the rest has one column."""
        return all(block.width == 1 for block in self.system.rest)

    def rest_blocks(self) -> Iterator[tuple[int, int, Floats]]:
        """N some columns at a time, each from its diagonal down: (start, stop, block)."""
        if self.N is not None or self.system.reduction is None:
            return iter([(0, self.size, np.zeros((0, 0)) if self.N is None else self.N)])
        return self.system.reduction.left(self.system.HH, self.weights)

    def rest_square(self) -> Floats:
        """N in full."""
        result = np.zeros((self.size, self.size))
        for start, stop, block in self.rest_blocks():
            result[start:, start:stop] = block
        return square_full(result)

    def rest_times(self, stacked: Floats) -> Floats:
        """N times (m, k)."""
        if not self.size:
            return stacked
        if self.N is not None or self.system.reduction is None:
            return np.asarray(dsymm(1.0, self.N, np.asfortranarray(stacked), lower=1))
        return self.system.reduction.left_times(self.system.HH, self.weights, stacked)

    @property
    def rest_factors(self) -> tuple[Floats, ...]:
        """The Λ of the blocks that were not eliminated."""
        return self.factors if self.system.eliminated is None else self.factors[1:]

    def degrees(self, reml: bool) -> int:
        """What the sum of squares is divided by for the residual variance."""
        return self.system.rows - (len(self.coefficients) if reml else 0)

    def deviance(self, reml: bool) -> float:
        """The criterion, −2 log likelihood."""
        df = self.degrees(reml)
        scaled = df * (1.0 + np.log(2.0 * np.pi * self.sum_of_squares / df))
        return float(self.log_det + (self.log_det_fixed if reml else 0.0) + scaled)


def solve(system: System, factors: tuple[Floats, ...]) -> Solution:
    """Solve a model at the relative covariance factors of its blocks, in the order of ``system.blocks``.

    Raises
    ------
    CannotFitError
        If the fixed effects fit the response exactly, so that no variation is left to judge by.
    """
    N, ND, G, shrink, weights, log_det = _without_eliminated(system, factors)
    rest = factors if system.eliminated is None else factors[1:]
    spend = system.reduction is not None and system.reduction.sparse and all(block.width == 1 for block in system.rest)
    S, log_det_rest = _inner(N, rest, system, spend)
    scaled = scaled_rows(rest, system.rest, ND, transposed=True)
    A = np.asarray(lapack.dpotrs(S, scaled, lower=1)[0]) if len(S) else scaled
    reduced: Floats = G - scaled.T @ A
    coefficients, unscaled, left, log_det_fixed = _fixed(reduced, float(system.DD[-1, -1]))
    return Solution(
        system,
        factors,
        weights,
        None if spend else N,
        ND,
        S,
        A,
        reduced,
        shrink,
        coefficients,
        unscaled,
        left,
        log_det + log_det_rest,
        log_det_fixed,
    )


def _without_eliminated(
    system: System, factors: tuple[Floats, ...]
) -> tuple[Floats, Floats, Floats, Floats, Floats, float]:
    """Z_r'V_e⁻¹Z_r, Z_r'V_e⁻¹D, D'V_e⁻¹D, the E_l, the W_l and log|V_e|."""
    if system.reduction is None:
        none = np.zeros((0, 1, 1))
        return system.HH.toarray(order="F"), system.HD, system.DD, none, none, 0.0
    phi = factors[0] @ factors[0].T
    inner = np.eye(len(phi)) + system.reduction.own @ phi
    if len(phi) == 1:
        shrink: Floats = 1.0 / inner
        log_det = float(np.log(inner).sum())
    else:
        shrink = np.asarray(np.linalg.inv(inner), dtype=np.float64)
        log_det = float(np.linalg.slogdet(inner)[1].sum())
    weights = phi @ shrink
    weights = 0.5 * (weights + weights.transpose(0, 2, 1))
    N = system.reduction.subtracted(system.HH, weights)
    cross, dense = system.reduction.of_dense(weights)
    return N, system.HD - cross, system.DD - dense, shrink, weights, log_det


def _inner(N: Floats, rest: tuple[Floats, ...], system: System, spend: bool) -> tuple[Floats, float]:
    """The Cholesky factor of I + Λ'NΛ and the log of its determinant; in N's own room if it may be spent."""
    if not len(N):
        return N, 0.0
    S = scaled_both(rest, system.rest, N, transposed=True, overwrite=spend)
    S[np.diag_indices(len(S))] += 1.0
    S, info = lapack.dpotrf(S, lower=1, clean=0, overwrite_a=1)
    if info:
        raise CannotFitError(
            "the random effects' sums are not a matrix of products; were rows left out that were not in?"
        )
    return S, 2.0 * float(np.log(np.diagonal(S)).sum())


def _fixed(G: Floats, total: float) -> tuple[Floats, Floats, float, float]:
    """Coefficients, (X'V⁻¹X)⁻¹, r² and log|X'V⁻¹X|."""
    size = len(G) - 1
    log_det, coefficients, unscaled, left = 0.0, np.zeros(0), np.zeros((0, 0)), float(G[-1, -1])
    if size:
        scale = np.sqrt(np.diagonal(G)[:-1])
        R, info = lapack.dpotrf(G[:-1, :-1] / np.outer(scale, scale), lower=1)
        if info:
            raise CannotFitError("the fixed columns cannot be told apart within the levels of the random effects")
        half = np.asarray(lapack.dtrtrs(R, G[:-1, -1] / scale, lower=1)[0])
        inverse = np.asarray(lapack.dtrtri(R, lower=1)[0]) / scale
        unscaled = inverse.T @ inverse
        coefficients = inverse.T @ half
        left -= float(half @ half)
        log_det = 2.0 * float(np.log(np.diagonal(R) * scale).sum())
    if left <= _EXACT_FIT * total or total <= 0:
        raise CannotFitError("the model fits the response exactly: no variation is left to judge by")
    return coefficients, unscaled, left, log_det
