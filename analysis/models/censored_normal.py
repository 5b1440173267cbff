"""What does a normal reading say that is exact, or only known to lie below, above or between limits?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.models.arrays import Floats
from analysis.models.families import Terms
from analysis.models.intervals import normal_interval

__all__ = ["CensoredNormal", "OneSidedNormal"]

_HALF_LOG_2PI = 0.5 * np.log(2.0 * np.pi)


@dataclass(frozen=True)
class CensoredNormal:
    """``lower`` and ``upper`` (n,), equal where a reading is exact, infinite on an open side; ψ is log σ."""

    lower: Floats
    upper: Floats

    def row_variance(self, own: Floats) -> float:
        """σ²."""
        return float(np.exp(2.0 * own[0]))

    def start(self) -> tuple[float, Floats]:
        """The mean and standard deviation of the readings and limits."""
        known = np.where(np.isfinite(self.lower), self.lower, self.upper)
        return float(known.mean()), np.array([np.log(max(float(known.std()), 1e-8))])

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log density of exact rows, log probability of the others."""
        sigma = float(np.exp(own[0]))
        exact = self.lower == self.upper
        parts = np.empty((4, len(eta)))
        by_own = np.empty((3, len(eta)))
        z = (self.lower[exact] - eta[exact]) / sigma
        parts[:, exact] = [-0.5 * z**2 - _HALF_LOG_2PI - own[0], z / sigma, np.full_like(z, -1 / sigma**2), 0.0 * z]
        by_own[:, exact] = [z**2 - 1.0, -2.0 * z / sigma, np.full_like(z, 2.0 / sigma**2)]
        a, b = (self.lower[~exact] - eta[~exact]) / sigma, (self.upper[~exact] - eta[~exact]) / sigma
        between = normal_interval(a, b)
        parts[:, ~exact] = [
            between.log_probability,
            between.first / sigma,
            between.second / sigma**2,
            between.third / sigma**3,
        ]
        shrink = (
            -np.where(np.isfinite(a), a, 0.0) * between.by_lower - np.where(np.isfinite(b), b, 0.0) * between.by_upper
        )
        by_own[:, ~exact] = [
            shrink[0],
            (shrink[1] - between.first) / sigma,
            (shrink[2] - 2.0 * between.second) / sigma**2,
        ]
        return Terms(parts[0], parts[1], parts[2], parts[3], by_own[:1], by_own[1:2], by_own[2:])


@dataclass(frozen=True)
class OneSidedNormal:
    """Limits on one side alone, ``lower`` infinite or ``upper`` (n,): the same as ``CensoredNormal`` in fewer steps."""

    lower: Floats
    upper: Floats

    def start(self) -> tuple[float, Floats]:
        """As for readings and limits together."""
        return CensoredNormal(self.lower, self.upper).start()

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log probability, with r the normal density over it: r' = −r(z + r)."""
        side = np.where(np.isinf(self.lower), 1.0, -1.0)
        scale = side / float(np.exp(own[0]))
        z = (np.where(side > 0, self.upper, self.lower) - eta) * scale
        log_probability = special.log_ndtr(z)
        r = np.exp(-0.5 * z**2 - _HALF_LOG_2PI - log_probability)
        slope = -r * (z + r)
        bend = -slope * (z + r) - r * (1.0 + slope)
        square = scale**2
        by_own = np.stack([-z * r, scale * (r + z * slope), -square * (2.0 * slope + z * bend)])
        return Terms(
            log_probability,
            -scale * r,
            square * slope,
            -scale * square * bend,
            by_own[:1],
            by_own[1:2],
            by_own[2:],
        )
