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
from analysis.models.system import Block

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

    @property
    def bounds(self) -> list[tuple[float | None, float | None]]:
        """φ from 0 up, Cholesky entries without bounds."""
        limits: list[tuple[float | None, float | None]] = []
        for _, start, stop in self._parts():
            size = stop - start
            limits += [(0.0, None)] if size == 1 else [(None, None)] * (size * (size + 1) // 2)
        return limits

    def vector(self, factors: Sequence[Floats]) -> Floats:
        """The search's vector at these Λ."""
        values: list[float] = []
        for k, start, stop in self._parts():
            part = factors[k][start:stop, start:stop]
            values += (
                [float(part[0, 0]) ** 2] if len(part) == 1 else [float(v) for v in part[np.tril_indices(len(part))]]
            )
        return np.array(values)

    def factors(self, vector: Floats) -> tuple[Floats, ...]:
        """The Λ of each block."""
        results = [np.zeros((block.width, block.width)) for block in self.blocks]
        at = 0
        for k, start, stop in self._parts():
            size = stop - start
            if size == 1:
                results[k][start, start] = np.sqrt(max(float(vector[at]), _LEAST_PHI))
                at += 1
                continue
            lower = np.tril_indices(size)
            results[k][start:stop, start:stop][lower] = vector[at : at + len(lower[0])]
            at += len(lower[0])
        return tuple(results)

    def chained(self, by_factor: Sequence[Floats], factors: Sequence[Floats]) -> Floats:
        """The derivative by the vector, from those by each Λ."""
        values: list[float] = []
        for k, start, stop in self._parts():
            part = by_factor[k][start:stop, start:stop]
            if stop - start == 1:
                values.append(float(part[0, 0] / (2.0 * factors[k][start, start])))
            else:
                values += [float(v) for v in part[np.tril_indices(len(part))]]
        return np.array(values)

    def _parts(self) -> list[tuple[int, int, int]]:
        return [(k, start, stop) for k, block in enumerate(self.blocks) for start, stop in block.parts]
