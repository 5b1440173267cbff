"""How sure is a capability index?

Source: Kotz and Johnson 1993, "Process Capability Indices": chi-squared for an index of the width, non-central t for a
one-sided index; Weerahandi 1993, "Generalized confidence intervals", J. Am. Stat. Assoc. 88, for the percentile index.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import chdtri, ndtr, ndtri

from analysis.charts.arrays import FloatArray
from analysis.charts.estimated_limits import spread_nodes

__all__ = [
    "Index",
    "freedom_of_moving_ranges",
    "one_sided_interval",
    "percentile_index",
    "percentile_interval",
    "share_beyond",
    "spread_interval",
]

_DRAWS = 20_000
_SEED = 22_514


@dataclass(frozen=True)
class Index:
    """A capability index and the two-sided interval ``low`` to ``high`` at the confidence that was asked for."""

    value: float
    low: float
    high: float


def spread_interval(index: float, freedom: float, level: float = 0.95) -> Index:
    """Return the interval of Cp or Pp: the index times the root of chi-squared over its degrees of freedom.

    Parameters
    ----------
    index : float
    freedom : float
        Degrees of freedom of sigma.
    level : float
        Confidence.
    """
    tail = (1 - level) / 2
    low, high = (math.sqrt(float(chdtri(freedom, p)) / freedom) for p in (1 - tail, tail))
    return Index(index, index * low, index * high)


def one_sided_interval(index: float, n: int, freedom: float, level: float = 0.95) -> Index:
    """Return the interval of a one-sided index, such as Cpu: 3 √n times the index is a non-central t.

    For two limits it is the interval of the nearer side, which the smaller of both never exceeds.

    Parameters
    ----------
    index : float
    n : int
        Runs that the mean is made from.
    freedom : float
        Degrees of freedom of sigma: n - 1 for the standard deviation (exact), fewer from moving ranges (close).
    level : float
        Confidence.
    """
    seen = 3 * math.sqrt(n) * index
    tail = (1 - level) / 2

    reach = (2 - float(ndtri(tail))) * math.sqrt(1 + seen**2 / (2 * freedom))

    spread, chance = spread_nodes(freedom)

    def centre_for(share: float) -> float:
        """Return the non-centrality under which that share of t lies below what was seen."""
        return float(
            brentq(lambda d: float(chance @ ndtr(seen * spread - d)) - share, seen - reach, seen + reach, xtol=1e-10)
        )

    return Index(index, centre_for(1 - tail) / (3 * math.sqrt(n)), centre_for(tail) / (3 * math.sqrt(n)))


def freedom_of_moving_ranges(n: int) -> float:
    """Return the degrees of freedom of sigma from the mean moving range of n runs.

    Neighbouring moving ranges share a run; their variance and covariance follow from the bivariate normal with a
    correlation of -1/2, and freedom is set so that chi has the same relative variance.
    """
    own = 2 - 4 / math.pi
    shared = 4 / math.pi * (math.sqrt(3) / 2 + math.pi / 12) - 4 / math.pi
    variance = ((n - 1) * own + 2 * (n - 2) * shared) / (n - 1) ** 2
    return 1 / (2 * variance / (4 / math.pi))


def share_beyond(mean: float, sigma: float, limit: float | None, *, below: bool) -> float:
    """Return the share of a normal beyond a limit, NaN where there is none."""
    if limit is None:
        return float("nan")
    distance = (mean - limit if below else limit - mean) / sigma
    return float(ndtr(-distance))


def percentile_index(
    mean: FloatArray | float, sigma: FloatArray | float, lower: float | None, upper: float | None
) -> FloatArray:
    """Return the percentile index of a log-normal measure, as the array's shape.

    Parameters
    ----------
    mean, sigma : array or float
        Of the logs.
    lower, upper : float or None
        Limits in the measure's unit, at least one.

    Notes
    -----
    (upper - P50) / (P99.865 - P50) and (P50 - lower) / (P50 - P0.135), the smaller of the two that there are.
    """
    middle, step = np.exp(mean), np.asarray(np.exp(3 * np.asarray(sigma)), dtype=np.float64)
    sides = []
    if upper is not None:
        sides.append((upper - middle) / (middle * (step - 1)))
    if lower is not None:
        sides.append((middle - lower) / (middle * (1 - 1 / step)))
    return np.asarray(np.minimum.reduce(sides), dtype=np.float64)


def percentile_interval(
    mean: float, sigma: float, n: int, lower: float | None, upper: float | None, level: float = 0.95
) -> Index:
    """Return the percentile index with its generalised confidence interval.

    Parameters
    ----------
    mean, sigma : float
        Mean and standard deviation of the logs of n runs.
    n : int
    lower, upper : float or None
        Limits in the measure's unit, at least one.
    level : float
        Confidence.
    """
    spreads, offsets = _draws(n)
    sigmas = sigma * spreads
    means = mean - offsets * sigmas / math.sqrt(n)
    drawn = percentile_index(means, sigmas, lower, upper)
    tail = (1 - level) / 2
    low, high = np.quantile(drawn, [tail, 1 - tail])
    return Index(float(percentile_index(mean, sigma, lower, upper)), float(low), float(high))


@lru_cache(maxsize=64)
def _draws(n: int) -> tuple[FloatArray, FloatArray]:
    """Return draws of sigma over the standard deviation of n runs, and of the standard normal."""
    rng = np.random.default_rng(_SEED)
    return np.sqrt((n - 1) / rng.chisquare(n - 1, _DRAWS)), rng.standard_normal(_DRAWS)
