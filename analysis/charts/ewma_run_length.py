"""How many runs pass, on average, before a running mean leaves its limits?

The average run length from each start of the average solves an integral equation, here on Gauss-Legendre nodes. Limits
are the steady ones; exact limits, narrow at the start, signal a little sooner.

Source: Crowder 1987, "A simple method for studying run-length distributions of exponentially weighted moving average
charts", Technometrics 29; Lucas and Saccucci 1990, Technometrics 32, for the printed values.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr, roots_legendre

from analysis.charts.arrays import FloatArray

__all__ = ["check_ewma", "ewma_run_length", "ewma_width"]

_NODES = 80
LONGEST = 1_000_000
"""Beyond this many runs the equation loses its digits, and a false alarm its meaning."""


@lru_cache(maxsize=1024)
def ewma_run_length(weight: float, width: float, shift: float = 0.0) -> float:
    """Return the average run length of a two-sided EWMA with steady limits.

    Parameters
    ----------
    weight : float
        Weight of the newest run, above 0 and at most 1.
    width : float
        Distance of the limits in sigmas of the average.
    shift : float
        How far the level lies from the centre from the first run on [sigma]; 0 for false alarms.

    Returns
    -------
    float
        Runs until the signal, the signalling run included. Runs are independent and normal, centre and sigma known.

    Raises
    ------
    ValueError
        If ``weight`` or ``width`` is out of range.
    """
    check_ewma(weight, width)
    if weight == 1:
        return 1 / float(ndtr(-width - shift) + ndtr(-width + shift))
    half = width * math.sqrt(weight / (2 - weight))
    nodes, weights = roots_legendre(max(_NODES, int(12 * width / math.sqrt(weight))))
    at: FloatArray = half * nodes
    kernel = _density((at[None, :] - (1 - weight) * at[:, None]) / weight - shift) * (half * weights)[None, :] / weight
    lengths = np.linalg.solve(np.eye(at.size) - kernel, np.ones(at.size))
    from_centre = _density(at / weight - shift) * half * weights / weight
    return 1 + float(from_centre @ lengths)


@lru_cache(maxsize=256)
def ewma_width(weight: float, in_control: float) -> float:
    """Return the width that gives so many runs between false alarms.

    Parameters
    ----------
    weight : float
        As in ``ewma_run_length``.
    in_control : float
        Wanted average run length while nothing is wrong, above 1 [runs].

    Raises
    ------
    ValueError
        If ``in_control`` is not above 1, or above a million.
    """
    if not 1 < in_control <= LONGEST:
        raise ValueError(f"in_control must be above 1 and at most {LONGEST:,} runs, got {in_control}")
    low, high = 1e-3, 1.0
    while ewma_run_length(weight, high) < in_control:
        low, high = high, high + 0.5
    return float(brentq(lambda width: math.log(ewma_run_length(weight, width) / in_control), low, high, xtol=1e-7))


def check_ewma(weight: float, width: float) -> None:
    """Raise ``ValueError`` where a weight is not above 0 and at most 1, or a width not above 0."""
    if not 0 < weight <= 1:
        raise ValueError(f"weight must be above 0 and at most 1, got {weight}")
    if not width > 0:
        raise ValueError(f"width must be above 0, got {width}")


def _density(x: FloatArray) -> FloatArray:
    return np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
