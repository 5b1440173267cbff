"""Which numbers is a mixed model's deviance minimised over?

A random part of one column is described by φ = θ² ≥ 0, its variance over the residual variance: the deviance is even in
θ, so that a search in θ stops at 0 wherever it once comes there, and one in φ does not. A part of several correlated
columns is described by the entries of its Cholesky factor Λ, without bounds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from analysis.models.arrays import Floats
from analysis.models.blocks import Block, Part

__all__ = ["Parameters"]

_LEAST_PHI = 1e-20  # so that θ can be divided by; it changes the deviance by less than rounding


@dataclass(frozen=True)
class Parameters:
    """The map between the search's vector and the covariance factors of a system's blocks."""

    blocks: tuple[Block, ...]

    @property
    def start(self) -> Floats:
        """Where the search starts: every Φ the identity, as in Bates et al. 2015."""
        return self.vector([np.eye(block.width) for block in self.blocks])

    def near(self, variances: Floats) -> Floats:
        """The same with the variance of each part that has one, of ``variances`` in the order of the parts (T,)."""
        factors = [np.eye(block.width) for block in self.blocks]
        for value, (k, part) in zip(variances, self._parts(), strict=True):
            if part.tied:
                np.fill_diagonal(_within(factors[k], part), np.sqrt(value))
        return self.vector(factors)

    @property
    def bounds(self) -> list[tuple[float | None, float | None]]:
        """φ from 0 up, Cholesky entries without bounds."""
        limits: list[tuple[float | None, float | None]] = []
        for _, part in self._parts():
            size = part.stop - part.start
            limits += [(0.0, None)] if part.tied else [(None, None)] * (size * (size + 1) // 2)
        return limits

    def vector(self, factors: Sequence[Floats]) -> Floats:
        """The search's vector at these Λ."""
        values: list[float] = []
        for k, part in self._parts():
            block = _within(factors[k], part)
            values += [float(block[0, 0]) ** 2] if part.tied else _entries(block)
        return np.array(values)

    def factors(self, vector: Floats) -> tuple[Floats, ...]:
        """The Λ of each block."""
        results = [np.zeros((block.width, block.width)) for block in self.blocks]
        at = 0
        for k, part in self._parts():
            block = _within(results[k], part)
            if part.tied:
                np.fill_diagonal(block, np.sqrt(max(float(vector[at]), _LEAST_PHI)))
                at += 1
                continue
            lower = np.tril_indices(len(block))
            block[lower] = vector[at : at + len(lower[0])]
            at += len(lower[0])
        return tuple(results)

    def chained(self, by_factor: Sequence[Floats], factors: Sequence[Floats]) -> Floats:
        """The derivative by the vector, from those by each Λ."""
        values: list[float] = []
        for k, part in self._parts():
            block, theta = _within(by_factor[k], part), float(factors[k][part.start, part.start])
            values += [float(np.trace(block)) / (2.0 * theta)] if part.tied else _entries(block)
        return np.array(values)

    def _parts(self) -> list[tuple[int, Part]]:
        return [(k, part) for k, block in enumerate(self.blocks) for part in block.parts]


def _within(square: Floats, part: Part) -> Floats:
    return square[part.start : part.stop, part.start : part.stop]


def _entries(block: Floats) -> list[float]:
    """The lower half, row by row."""
    return [float(value) for value in block[np.tril_indices(len(block))]]
