"""What does a family say of a row, given its linear predictor?

Each family gives log f and its first three derivatives by the linear predictor η, and how log f and its first two
change with the family's own parameters ψ (a log scale, thresholds): all that the Laplace approximation and its gradient
need.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import special

from analysis.models.arrays import Floats

__all__ = ["BetaBinomial", "Binomial", "Family", "Gamma", "Terms"]


@dataclass(frozen=True)
class Terms:
    """For n rows and k own parameters: ``log_density``, ``first``, ``second``, ``third`` (n,); ``by_own`` and its two
    derivatives by η, ``first_by_own`` and ``second_by_own`` (k, n)."""

    log_density: Floats
    first: Floats
    second: Floats
    third: Floats
    by_own: Floats
    first_by_own: Floats
    second_by_own: Floats


class Family(Protocol):
    """What the engine asks of a family."""

    def start(self) -> tuple[float, Floats]:
        """Where the search starts: the intercept (0 where there is none) and ψ (k,)."""
        ...

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Evaluate all rows."""
        ...


@dataclass(frozen=True)
class Binomial:
    """``successes`` of ``trials`` (n,), logit link."""

    successes: Floats
    trials: Floats

    def start(self) -> tuple[float, Floats]:
        """The logit of the pooled share."""
        share = (self.successes.sum() + 0.5) / (self.trials.sum() + 1.0)
        return float(np.log(share / (1.0 - share))), np.zeros(0)

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log of the binomial probability."""
        mean = special.expit(eta)
        spread = self.trials * mean * (1.0 - mean)
        ways = (
            special.gammaln(self.trials + 1.0)
            - special.gammaln(self.successes + 1.0)
            - special.gammaln(self.trials - self.successes + 1.0)
        )
        log_density = self.successes * eta - self.trials * np.logaddexp(0.0, eta) + ways
        none = np.zeros((len(own), len(eta)))
        first = self.successes - self.trials * mean
        return Terms(log_density, first, -spread, -spread * (1.0 - 2.0 * mean), none, none, none)


@dataclass(frozen=True)
class BetaBinomial:
    """``successes`` of ``trials`` (n,) whose probability varies from row to row; ψ is log κ, κ the beta's a + b.

    Source: Skellam 1948, J. R. Statist. Soc. B 10, 257–261.
    """

    successes: Floats
    trials: Floats

    def start(self) -> tuple[float, Floats]:
        """The logit of the pooled share, and a moderate spread."""
        return Binomial(self.successes, self.trials).start()[0], np.array([np.log(10.0)])

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log of the beta-binomial probability."""
        kappa = float(np.exp(own[0]))
        mean = special.expit(eta)
        a, b = mean * kappa, (1.0 - mean) * kappa
        failures = self.trials - self.successes
        ways = special.betaln(self.successes + 1.0, failures + 1.0) + np.log(self.trials + 1.0)
        log_density = special.betaln(self.successes + a, failures + b) - special.betaln(a, b) - ways
        up = [special.polygamma(k, self.successes + a) - special.polygamma(k, a) for k in range(3)]
        down = [special.polygamma(k, failures + b) - special.polygamma(k, b) for k in range(3)]
        g1, g2, g3 = kappa * (up[0] - down[0]), kappa**2 * (up[1] + down[1]), kappa**3 * (up[2] - down[2])
        v = mean * (1.0 - mean)
        v1, v2 = v * (1.0 - 2.0 * mean), v * (1.0 - 6.0 * v)
        total = special.digamma(self.trials + kappa) - special.digamma(kappa)
        by_kappa = kappa * (mean * up[0] + (1.0 - mean) * down[0] - total)
        g1_by = g1 + kappa**2 * (mean * up[1] - (1.0 - mean) * down[1])
        g2_by = 2.0 * g2 + kappa**3 * (mean * up[2] + (1.0 - mean) * down[2])
        return Terms(
            log_density,
            g1 * v,
            g2 * v**2 + g1 * v1,
            g3 * v**3 + 3.0 * g2 * v * v1 + g1 * v2,
            by_kappa[None],
            (g1_by * v)[None],
            (g2_by * v**2 + g1_by * v1)[None],
        )


@dataclass(frozen=True)
class Gamma:
    """``values`` (n,) above 0, log link; ψ is the log of the shape, 1 / dispersion."""

    values: Floats

    def start(self) -> tuple[float, Floats]:
        """The log of the mean, and the shape that the coefficient of variation gives."""
        mean, spread = float(self.values.mean()), float(self.values.std())
        return float(np.log(mean)), np.array([2.0 * np.log(mean / max(spread, 1e-3 * mean))])

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log of the gamma density with mean exp(η)."""
        shape = float(np.exp(own[0]))
        ratio = self.values * np.exp(-eta)
        constant = shape * own[0] - special.gammaln(shape)
        log_density = constant + (shape - 1.0) * np.log(self.values) - shape * (eta + ratio)
        by_shape = shape * (own[0] + 1.0 - special.digamma(shape) + np.log(self.values) - eta - ratio)
        first, second = shape * (ratio - 1.0), -shape * ratio
        return Terms(log_density, first, second, shape * ratio, by_shape[None], first[None], second[None])
