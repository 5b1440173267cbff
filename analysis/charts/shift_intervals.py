"""Between which runs does a move of the level lie, with which confidence?

Two ways, for the place of one move among normal runs of one spread:

- conditional: what each place explains, given the series, with the two levels and the spread integrated out. It keeps
  its confidence in short series and for small moves (in simulated series of 30 runs 97 % at one sigma).
- large sample: the limiting distribution of the estimated place. It is the published comparison; in the same short
  series it covers only about 80 % where 95 % is asked.

Source: Smith 1975, "A Bayesian approach to inference about a change-point in a sequence of random variables",
Biometrika 62; Bai 1997, "Estimation of a change point in multiple regression models", Rev. Econ. Stat. 79, the
distribution of the arg max.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Literal

import numpy as np
from scipy.optimize import brentq
from scipy.special import log_ndtr

from analysis.charts.arrays import FloatArray

__all__ = ["IntervalMethod", "first_runs_between"]

IntervalMethod = Literal["conditional", "large sample"]


def first_runs_between(found: FloatArray, split: int, level: float, method: IntervalMethod) -> tuple[int, int]:
    """Return the earliest and latest first run of the new level.

    Parameters
    ----------
    found : array, shape (n,)
        The runs around one move, none missing.
    split : int
        The estimated first run of the new level, from 0.
    level : float
        Confidence, between 0 and 1.
    method : {"conditional", "large sample"}
        As in the module's docstring.

    Raises
    ------
    ValueError
        If ``level`` or ``method`` is none of these.
    """
    if not 0 < level < 1:
        raise ValueError(f"level must lie between 0 and 1, got {level}")
    if method == "conditional":
        first, last = _conditional(found, level)
    elif method == "large sample":
        first, last = _large_sample(found, split, level)
    else:
        raise ValueError(f"interval must be conditional or large sample, got {method!r}")
    return min(max(first, 1), split), max(min(last, found.size - 1), split)


def _conditional(found: FloatArray, level: float) -> tuple[int, int]:
    """Weight of a first run k: (k (n - k))^(-1/2) RSS(k)^(-(n - 2)/2), flat over places and levels."""
    n = found.size
    centred = found - found.mean()
    k = np.arange(1, n)
    total = float(centred @ centred)
    left_over = total - np.cumsum(centred)[:-1] ** 2 * n / (k * (n - k))
    floor = total * 1e-14
    weight = -(n - 2) / 2 * np.log(np.maximum(left_over, floor)) - np.log(k * (n - k)) / 2
    share = np.cumsum(np.exp(weight - weight.max()))
    share /= share[-1]
    tail = (1 - level) / 2
    return int(k[np.searchsorted(share, tail)]), int(k[np.searchsorted(share[:-1], 1 - tail)])


def _large_sample(found: FloatArray, split: int, level: float) -> tuple[int, int]:
    before, after = found[:split], found[split:]
    size = float(after.mean() - before.mean())
    one, two = float(before.var()), float(after.var())
    if min(one, two) <= 0 or size == 0:
        return split, split
    ratio = two / one
    tail = (1 - level) / 2
    runs = one / size**2
    late = _quantile(lambda x: _arg_max_above(x, ratio), 1 - tail) * runs
    early = -_quantile(lambda x: -_arg_max_below(x, ratio), -tail) * runs
    return split - math.ceil(late), split - math.floor(early)


def _quantile(distribution: Callable[[float], float], wanted: float) -> float:
    """Return x > 0 at which a rising function reaches ``wanted``; 0 where it starts above."""
    if distribution(1e-12) >= wanted:
        return 0.0
    end = 1.0
    while distribution(end) < wanted:
        end *= 2
    return float(brentq(lambda x: distribution(x) - wanted, 1e-12, end))


def _arg_max_below(x: float, ratio: float) -> float:
    """Return P(arg max ≤ -x), x > 0, ``ratio`` being the variance after over the variance before."""
    share = 1 / ratio
    return (
        -math.exp(math.log(x) / 2 - x / 8 - math.log(2 * math.pi) / 2)
        - ratio
        * (ratio + 2)
        / (ratio + 1)
        * math.exp(share * (1 + share) / 2 * x + _log_cdf(-(0.5 + share) * math.sqrt(x)))
        + (x / 2 - 2 + (ratio + 2) ** 2 / (ratio + 1)) * math.exp(_log_cdf(-math.sqrt(x) / 2))
    )


def _arg_max_above(x: float, ratio: float) -> float:
    """Return P(arg max ≤ x), x > 0."""
    share = 1 / ratio
    root = math.sqrt(share)
    return (
        1
        + root * math.exp(math.log(x) / 2 - share * x / 8 - math.log(2 * math.pi) / 2)
        + share
        * (2 * ratio + 1)
        / (ratio + 1)
        * math.exp((ratio + 1) / 2 * x + _log_cdf(-(ratio + 0.5) / math.sqrt(ratio) * math.sqrt(x)))
        - ((2 * ratio + 1) ** 2 / ((ratio + 1) * ratio) - 2 + share * x / 2)
        * math.exp(_log_cdf(-root * math.sqrt(x) / 2))
    )


def _log_cdf(x: float) -> float:
    return float(log_ndtr(x))
