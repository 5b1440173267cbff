"""What do the rows tell about the variances, and the fixed effects through them?

For the variances s_i, with V = Σ s_i G_i + s_0 I and G_i = Z E_i Z', the traces tr(V⁻¹G_iV⁻¹G_j) and the matrices
X'V⁻¹G_iV⁻¹X and X'V⁻¹G_iV⁻¹G_jV⁻¹X, all without a matrix of n rows: V⁻¹ = V_e⁻¹ − V_e⁻¹Z_r K Z_r'V_e⁻¹ turns
each into products of the sums. The residual's come from I = (V − Σ s_k G_k)/s_0.

All is in units of the residual variance. Source of the quantities: Kenward & Roger 1997, Biometrics 53, 983–997.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.arrays import Floats
from analysis.models.blocks import Block
from analysis.models.criterion import Solution
from analysis.models.gradient import eliminated_products, rest_kernel, rest_products
from analysis.models.reduction import Reduction

__all__ = ["Information", "LevelProducts", "information"]


@dataclass(frozen=True)
class Component:
    """One variance or covariance of a block's columns: the entries of E that are 1, and its value."""

    block: int
    pairs: tuple[tuple[int, int], ...]
    value: float


@dataclass(frozen=True)
class Information:
    """The k+1 variances, the residual first, and what the rows tell of them.

    ``values`` (k+1,); ``traces`` (k+1, k+1) tr(V⁻¹G_iV⁻¹G_j); ``once`` (k+1, p, p) X'V⁻¹G_iV⁻¹X; ``twice``
    (k+1, k+1, p, p) X'V⁻¹G_iV⁻¹G_jV⁻¹X; ``quadratic`` (k+1, k+1) y'PG_iPG_jPy.
    """

    values: Floats
    traces: Floats
    once: Floats
    twice: Floats
    quadratic: Floats

    def expected(self, unscaled: Floats, reml: bool = True) -> Floats:
        """½ tr(PG_iPG_j), or with V⁻¹ for P under maximum likelihood."""
        if not reml:
            return 0.5 * self.traces
        turned = self.once @ unscaled
        both = np.einsum("ipq,jqp->ij", turned, turned)
        return np.asarray(0.5 * (self.traces - 2.0 * np.einsum("pq,ijqp->ij", unscaled, self.twice) + both))

    def observed(self, unscaled: Floats, residual_variance: float, reml: bool = True) -> Floats:
        """−∂² log L / ∂s_i ∂s_j."""
        return np.asarray(self.quadratic / residual_variance - self.expected(unscaled, reml))


def information(solution: Solution) -> Information:
    """Gather the traces and products of a solved model."""
    system = solution.system
    components = _components(solution)
    products = [eliminated_products(solution)] if system.eliminated is not None else []
    products += [rest_products(solution)[block.rows] for block in system.rest]
    inner = LevelProducts(solution)
    X = [each[:, :-1] for each in products]
    residual = [each[:, -1:] - each[:, :-1] @ solution.coefficients[:, None] for each in products]
    stacked = [np.hstack([x, e]) for x, e in zip(X, residual, strict=True)]
    size, p = len(components), X[0].shape[1] if X else len(solution.coefficients)
    traces, once = np.zeros((size + 1, size + 1)), np.zeros((size + 1, p + 1, p + 1))
    twice = np.zeros((size + 1, size + 1, p + 1, p + 1))
    everything = np.zeros((p + 1, p + 1))
    everything[:p, :p] = solution.G[:-1, :-1]
    everything[p, p] = solution.sum_of_squares
    traces[0, 0], once[0], twice[0, 0] = system.rows, everything, everything
    applied = [_entries(stacked[c.block], c, system.blocks[c.block]) for c in components]
    for i, first in enumerate(components, start=1):
        traces[0, i] = traces[i, 0] = inner.trace(first)
        once[i] = stacked[first.block].T @ applied[i - 1]
        twice[0, i] = twice[i, 0] = once[i]
        for j, second in enumerate(components[:i], start=1):
            traces[i, j] = traces[j, i] = inner.trace_of_two(first, second)
            twice[i, j] = applied[i - 1].T @ inner.apply(first.block, second.block, applied[j - 1])
            twice[j, i] = twice[i, j].T
    return _with_residual(np.array([c.value for c in components]), traces, once, twice, solution)


def _components(solution: Solution) -> list[Component]:
    found = []
    for k, (block, factor) in enumerate(zip(solution.system.blocks, solution.factors, strict=True)):
        phi = factor @ factor.T
        for part in block.parts:
            columns = range(part.start, part.stop)
            if part.tied:
                found.append(Component(k, tuple((a, a) for a in columns), float(phi[part.start, part.start])))
                continue
            for a in columns:
                found += [Component(k, ((a, b), (b, a)), float(phi[a, b])) for b in range(part.start, a)]
                found.append(Component(k, ((a, a),), float(phi[a, a])))
    return found


def _entries(stacked: Floats, component: Component, block: Block) -> Floats:
    """(I ⊗ E_i) applied to stacked levels."""
    result = np.zeros_like(stacked)
    for a, b in component.pairs:
        result[a :: block.width] += stacked[b :: block.width]
    return result


def _with_residual(values: Floats, traces: Floats, once: Floats, twice: Floats, solution: Solution) -> Information:
    """Turn V, which stands first, into the residual's I = V − Σ s_k G_k; take y'P products from the last row."""
    turn = np.eye(len(values) + 1)
    turn[0, 1:] = -values
    once = np.tensordot(turn, once, 1)
    twice = np.einsum("ia,jb,abpq->ijpq", turn, turn, twice, optimize=True)
    cross = once[:, :-1, -1]  # X'V⁻¹G_iPy
    quadratic = twice[:, :, -1, -1] - np.einsum("ip,pq,jq->ij", cross, solution.unscaled, cross)
    return Information(
        values=np.concatenate([[1.0], values]),
        traces=turn @ traces @ turn.T,
        once=once[:, :-1, :-1],
        twice=twice[:, :, :-1, :-1],
        quadratic=quadratic,
    )


class LevelProducts:
    """Z_t'V⁻¹Z_s for any two blocks, as products of K, N and U = E_l B_l: never formed for the eliminated one."""

    def __init__(self, solution: Solution) -> None:
        self.blocks = solution.system.blocks
        self.reduction = solution.system.reduction
        self.shrink = solution.shrink
        self.kernel = rest_kernel(solution)
        N = solution.rest_square()
        self.turn = np.eye(len(N)) - self.kernel @ N  # Q = I − KN
        self.rest = N @ self.turn
        self.shift = 0 if self.reduction is None else 1
        if self.reduction is not None:
            self._prepare(self.reduction, len(N))

    def _prepare(self, reduction: Reduction, size: int) -> None:
        shrink = self.shrink
        width = reduction.width
        self.U = reduction.weighted(shrink)
        self.own = shrink @ reduction.own
        self.spread = np.zeros((reduction.levels, width, width))  # the level blocks of U K U'
        self.crossed = np.zeros((width, width, size, size))  # U_a'U_b
        self.crossed_kernel = np.zeros_like(self.crossed)
        if not size:
            return
        for a in range(width):
            turned = np.asarray(self.U[a::width] @ self.kernel)
            for b in range(width):
                other = self.U[b::width]
                dense = isinstance(other, np.ndarray)
                product = np.einsum("lm,lm->l", turned, other) if dense else other.multiply(turned).sum(axis=1)
                self.spread[:, a, b] = np.asarray(product).ravel()
                self.crossed[a, b] = reduction.crossed(shrink[:, a, :, None] * shrink[:, b, None, :])
                self.crossed_kernel[a, b] = self.crossed[a, b] @ self.kernel

    def level_blocks(self, t: int) -> Floats:
        """[Z_t'V⁻¹Z_t]_ll, (q, c, c)."""
        if self._eliminated(t):
            return np.asarray(self.own - self.spread)
        block = self.blocks[t]
        square = self.rest[block.rows, block.rows].reshape(block.levels, block.width, block.levels, block.width)
        return np.asarray(np.einsum("lalb->lab", square))

    def trace(self, component: Component) -> float:
        """tr(V⁻¹G_i)."""
        blocks = self.level_blocks(component.block).sum(axis=0)
        return float(sum(blocks[a, b] for a, b in component.pairs))

    def trace_of_two(self, first: Component, second: Component) -> float:
        """tr(V⁻¹G_iV⁻¹G_j)."""
        total = 0.0
        for a, b in first.pairs:
            for c, d in second.pairs:
                total += self._pair_trace(first.block, second.block, a, b, c, d)
        return total

    def _pair_trace(self, t: int, s: int, a: int, b: int, c: int, d: int) -> float:
        """Σ over levels l of t and m of s of C_(lb, mc) C_(la, md)."""
        first, second = self._eliminated(t), self._eliminated(s)
        if first and second:
            alone = np.einsum("l,l->", self.own[:, b, c], self.own[:, a, d] - self.spread[:, a, d])
            alone -= np.einsum("l,l->", self.own[:, a, d], self.spread[:, b, c])
            return float(alone + (self.crossed_kernel[c, d] * self.crossed_kernel[a, b].T).sum())
        if second:
            return self._pair_trace(s, t, d, c, b, a)
        width = self.blocks[s].width
        columns = self.blocks[s].rows
        if first:
            left, right = self.turn[:, columns][:, c::width], self.turn[:, columns][:, d::width]
            return float((left * (self.crossed[b, a] @ right)).sum())
        square = self.rest[self.blocks[t].rows, columns]
        rows = self.blocks[t].width
        return float((square[b::rows, c::width] * square[a::rows, d::width]).sum())

    def apply(self, t: int, s: int, stacked: Floats) -> Floats:
        """Z_t'V⁻¹Z_s M for M with the levels of s stacked."""
        first, second = self._eliminated(t), self._eliminated(s)
        if first and second:
            own = np.matmul(self.own, stacked.reshape(*self.own.shape[:2], -1)).reshape(stacked.shape)
            return np.asarray(own - self.U @ (self.kernel @ (self.U.T @ stacked)))
        if first:
            return np.asarray(self.U @ (self.turn[:, self.blocks[s].rows] @ stacked))
        if second:
            return np.asarray(self.turn[:, self.blocks[t].rows].T @ (self.U.T @ stacked))
        return np.asarray(self.rest[self.blocks[t].rows, self.blocks[s].rows] @ stacked)

    def _eliminated(self, block: int) -> bool:
        return block < self.shift
