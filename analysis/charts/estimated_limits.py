"""How sure is the false-alarm rate of limits that come from a small baseline?

With mean and standard deviation estimated from a few runs, one chart alarms every other week and another hardly ever:
the average over charts is longer than with known limits, and says little of the chart at hand.

Source: Quesenberry 1993, "The effect of sample size on estimated limits for X-bar and X control charts", J. Qual.
Technol. 25; Jones, Champ and Rigdon 2001, "The performance of exponentially weighted moving average charts with
estimated parameters", Technometrics 43.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import chdtri, gammaln, ndtr, roots_legendre

from analysis.charts.arrays import FloatArray

__all__ = ["EstimatedRunLength", "estimated_run_length", "spread_nodes"]

_MEANS = 200
_SPREADS = 600
_REACH = 8.0


@dataclass(frozen=True)
class EstimatedRunLength:
    """Runs between false alarms when limits come from ``runs`` steady runs.

    ``mean`` is over charts; how charts differ: one chart in ten has a run length below ``tenth``, half below
    ``median``, nine in ten below ``ninetieth``.
    """

    runs: int
    mean: float
    tenth: float
    median: float
    ninetieth: float


@lru_cache(maxsize=128)
def estimated_run_length(runs: int, width: float = 3.0) -> EstimatedRunLength:
    """Return the run lengths of a chart of single values with mean and standard deviation from a baseline.

    Parameters
    ----------
    runs : int
        Runs in the baseline, at least 5.
    width : float
        Distance of the limits in standard deviations.

    Raises
    ------
    ValueError
        If ``runs`` is below 5: the mean has no meaning there.
    """
    if runs < 5:
        raise ValueError(f"runs must be at least 5, got {runs}")
    off, chance_of_mean = _normal_nodes()
    spread, chance_of_spread = spread_nodes(runs - 1)
    distance = off[:, None] / math.sqrt(runs)
    lengths = 1 / (ndtr(distance - width * spread[None, :]) + ndtr(-distance - width * spread[None, :]))
    chance = chance_of_mean[:, None] * chance_of_spread[None, :]
    mean = float((chance * lengths).sum())
    order = np.argsort(lengths, axis=None)
    share = np.cumsum(chance.ravel()[order])
    sorted_lengths = lengths.ravel()[order]
    tenth, median, ninetieth = (float(np.interp(p, share, sorted_lengths)) for p in (0.1, 0.5, 0.9))
    return EstimatedRunLength(runs, mean, tenth, median, ninetieth)


def _normal_nodes() -> tuple[FloatArray, FloatArray]:
    nodes, weights = roots_legendre(_MEANS)
    z: FloatArray = _REACH * nodes
    return z, _REACH * weights * np.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)


@lru_cache(maxsize=256)
def spread_nodes(freedom: float) -> tuple[FloatArray, FloatArray]:
    """Return nodes for standard deviations of ``freedom`` degrees of freedom, in sigmas, and their chances."""
    low, high = float(chdtri(freedom, 1 - 1e-14)), float(chdtri(freedom, 1e-14))
    nodes, weights = roots_legendre(_SPREADS)
    square = low + (high - low) / 2 * (nodes + 1)
    log_density = (freedom / 2 - 1) * np.log(square) - square / 2 - freedom / 2 * math.log(2) - gammaln(freedom / 2)
    return np.sqrt(square / freedom), (high - low) / 2 * weights * np.exp(log_density)
