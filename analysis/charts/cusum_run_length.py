"""How many runs pass, on average, before a cumulative sum passes its bound?

The average run length of one side solves an integral equation with a lump at 0, here on Gauss-Legendre nodes; two sides
are put together by the rule for sums of which never both can be near their bounds.

Source: Page 1954, Biometrika 41; van Dobben de Bruyn 1968, "Cumulative Sum Tests", for two sides and head starts;
Hawkins 1993, "Cumulative sum control charting: an underutilized SPC tool", Qual. Eng. 5, for printed bounds.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, roots_legendre

from analysis.charts.arrays import FloatArray

__all__ = ["check_cusum", "cusum_bound", "cusum_run_length"]

_NODES = 80
LONGEST = 1_000_000
"""Beyond this many runs the equation loses its digits, and a false alarm its meaning."""


@lru_cache(maxsize=1024)
def cusum_run_length(allowance: float, bound: float, shift: float = 0.0, head_start: float = 0.0) -> float:
    """Return the average run length of a two-sided CUSUM.

    Parameters
    ----------
    allowance, bound : float
        As for ``cusum`` [sigma].
    shift : float
        How far the level lies from the centre from the first run on [sigma]; 0 for false alarms.
    head_start : float
        Where both sums start, as a share of the bound, from 0 to below 1.

    Returns
    -------
    float
        Runs until the signal, the signalling run included. Runs are independent and normal, centre and sigma known.

    Raises
    ------
    ValueError
        If a setting is out of range.
    """
    check_cusum(allowance, bound, head_start)
    up_zero, up_start = _one_sided(allowance, bound, shift, head_start)
    down_zero, down_start = _one_sided(allowance, bound, -shift, head_start)
    both = up_zero + down_zero
    return (up_start * down_zero + up_zero * down_start - up_zero * down_zero) / both


@lru_cache(maxsize=256)
def cusum_bound(allowance: float, in_control: float) -> float:
    """Return the bound that gives so many runs between false alarms, without a head start.

    Parameters
    ----------
    allowance : float
        As for ``cusum`` [sigma].
    in_control : float
        Wanted average run length while nothing is wrong [runs].

    Raises
    ------
    ValueError
        If ``in_control`` is above a million, or shorter than any bound gives.
    """
    low, high = 1e-6, 1.0
    shortest = cusum_run_length(allowance, low)
    if not shortest < in_control <= LONGEST:
        raise ValueError(f"in_control must lie between {shortest:.3g} and {LONGEST:,} runs, got {in_control}")
    while cusum_run_length(allowance, high) < in_control:
        low, high = high, 1.5 * high
    return float(brentq(lambda bound: math.log(cusum_run_length(allowance, bound) / in_control), low, high, xtol=1e-7))


def check_cusum(allowance: float, bound: float, head_start: float) -> None:
    """Raise ``ValueError`` where an allowance is negative, a bound not above 0, or a head start not below the bound."""
    if not (allowance >= 0 and bound > 0):
        raise ValueError(f"allowance must be at least 0 and bound above 0, got {allowance} and {bound}")
    if not 0 <= head_start < 1:
        raise ValueError(f"head_start must be from 0 to below 1 of the bound, got {head_start}")


def _one_sided(allowance: float, bound: float, shift: float, head_start: float) -> tuple[float, float]:
    """Return the run lengths of one side from a sum of 0 and from its head start."""
    nodes, weights = roots_legendre(max(_NODES, int(12 * bound)))
    at = np.concatenate([[0.0], bound * (nodes + 1) / 2])
    weight = bound * weights / 2
    lengths = np.linalg.solve(np.eye(at.size) - _steps(at, at, weight, allowance - shift), np.ones(at.size))
    start = head_start * bound
    from_start = 1 + float(_steps(np.array([start]), at, weight, allowance - shift)[0] @ lengths)
    return float(lengths[0]), from_start


def _steps(from_sums: FloatArray, to_sums: FloatArray, weight: FloatArray, lost: float) -> FloatArray:
    """Return the weight of each next sum, the lump at 0 first, seen from each sum; ``lost`` is a run's mean loss."""
    to_zero = ndtr(lost - from_sums)[:, None]
    onward = np.exp(-((to_sums[None, 1:] - from_sums[:, None] + lost) ** 2) / 2) / math.sqrt(2 * math.pi)
    return np.concatenate([to_zero, onward * weight[None, :]], axis=1)
