"""What do the range and the standard deviation of n normal readings come to, and which limits follow?

The constants of control charts, each from its integral: nothing here is a typed-in table.

Source: ASTM E2587-16 and ISO 7870-2:2013 give the printed tables and the definitions; Tippett 1925, "On the extreme
individuals and the range of samples taken from a normal population", Biometrika 17, the integrals of the range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import gammaln, ndtr, ndtri, roots_legendre

from analysis.charts.arrays import FloatArray

__all__ = ["MEDIAN_MOVING_RANGE", "ChartConstants", "c4", "chart_constants", "d2", "d3"]

# The median of |X1 - X2| for standard normal X1 and X2: sqrt(2) times the upper quartile of the normal.
MEDIAN_MOVING_RANGE = math.sqrt(2) * float(ndtri(0.75))

_SMALLEST_READING = roots_legendre(600)
_RANGE = roots_legendre(300)
_REACH = 9.5  # the normal density beyond is under 1e-20


@dataclass(frozen=True)
class ChartConstants:
    """The constants for subgroups of ``n``.

    ``d2`` and ``d3`` are the mean and standard deviation of the range of n standard normal readings, ``c4`` the mean of
    their standard deviation. The A, B and D make three-sigma limits: A (sigma known), A2 (from ranges), A3 (from
    standard deviations) of a mean; B3, B4 (estimated) and B5, B6 (known) of a standard deviation; D1, D2 (known) and
    D3, D4 (estimated) of a range.
    """

    n: int
    d2: float
    d3: float
    c4: float
    A: float
    A2: float
    A3: float
    B3: float
    B4: float
    B5: float
    B6: float
    D1: float
    D2: float
    D3: float
    D4: float


@lru_cache(maxsize=512)
def chart_constants(n: int) -> ChartConstants:
    """Return every constant for subgroups of n readings.

    Raises
    ------
    ValueError
        If ``n`` is below 2: one reading has neither a range nor a standard deviation.
    """
    mean, sd = _range_moments(n)
    bias = c4(n)
    root = math.sqrt(n)
    spread = 3 * math.sqrt(1 - bias**2)
    return ChartConstants(
        n=n,
        d2=mean,
        d3=sd,
        c4=bias,
        A=3 / root,
        A2=3 / (mean * root),
        A3=3 / (bias * root),
        B3=max(0.0, 1 - spread / bias),
        B4=1 + spread / bias,
        B5=max(0.0, bias - spread),
        B6=bias + spread,
        D1=max(0.0, mean - 3 * sd),
        D2=mean + 3 * sd,
        D3=max(0.0, 1 - 3 * sd / mean),
        D4=1 + 3 * sd / mean,
    )


def d2(n: int) -> float:
    """Return the mean range of n standard normal readings."""
    return _range_moments(n)[0]


def d3(n: int) -> float:
    """Return the standard deviation of the range of n standard normal readings."""
    return _range_moments(n)[1]


def c4(n: int) -> float:
    """Return the mean of the standard deviation of n standard normal readings (n - 1 in its divisor)."""
    _check_size(n)
    return math.sqrt(2 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))


@lru_cache(maxsize=512)
def _range_moments(n: int) -> tuple[float, float]:
    """Return the mean and standard deviation of the range: E W = ∫ P(W > w) dw, E W² = 2 ∫ w P(W > w) dw."""
    _check_size(n)
    w, weight = _scaled(_RANGE, 0.0, 2 * _REACH)
    beyond = 1 - _range_distribution(n, w)
    first = float(weight @ beyond)
    second = float(2 * (weight * w) @ beyond)
    return first, math.sqrt(second - first**2)


def _range_distribution(n: int, w: FloatArray) -> FloatArray:
    """Return P(W ≤ w) = n ∫ φ(x) [Φ(x + w) − Φ(x)]^(n−1) dx, x being the smallest reading."""
    x, weight = _scaled(_SMALLEST_READING, -_REACH, _REACH)
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    inside: FloatArray = ndtr(x[:, None] + w[None, :]) - ndtr(x)[:, None]
    return n * np.asarray((weight * density) @ inside ** (n - 1))


def _scaled(rule: tuple[FloatArray, FloatArray], low: float, high: float) -> tuple[FloatArray, FloatArray]:
    nodes, weights = rule
    half = (high - low) / 2
    return low + half * (nodes + 1), half * weights


def _check_size(n: int) -> None:
    if n < 2:
        raise ValueError(f"n must be at least 2 readings, got {n}")
