"""Did the level climb or fall slowly instead of stepping: from when to when, and by how much?

The level is flat, then goes straight from one height to another, then is flat again; a straight line over all runs is
the same without flat ends. The two corners are found by least squares over a grid of runs. Climb and steps are weighed
by the Bayesian information criterion, and between plain answers lies one that is open: few runs do not tell the two
apart.

Source: Schwarz 1978, "Estimating the dimension of a model", Ann. Stat. 6; Hudson 1966, "Fitting segmented curves whose
join points have to be estimated", J. Am. Stat. Assoc. 61, for the corners by least squares.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, as_series

__all__ = ["Climb", "slow_climb"]

FEWEST_RUNS = 8
"""A climb that is over within fewer runs is a step to whoever looks at it."""

PLAINLY_CLIMB, PLAINLY_STEPS = -2.0, 6.0
"""Where the criterion of the climb less that of the steps lies below the first, it climbed; above the second, it
stepped; between them it is open. Of simulated steps of two sigma or more, and of climbs of three, at most about one in
twenty is told to be the other (held by a test)."""

_MOST_CORNERS = 30
_WITHIN = 3.841458820694124  # the 95 % point of chi-squared with one degree of freedom


@dataclass(frozen=True)
class Climb:
    """A slow change of the level, upward or downward.

    It starts after run ``begins`` and is over at run ``ends``, counted from 0; with 95 % confidence ``begins`` lies
    from ``earliest`` to ``latest``. ``before`` and ``after`` are the levels at its two ends, and ``low`` to ``high``
    the 95 % interval of their difference, all in the unit of the series. ``against_steps`` is its Bayesian information
    criterion less that of the steps.
    """

    begins: int
    ends: int
    earliest: int
    latest: int
    before: float
    after: float
    low: float
    high: float
    against_steps: float

    @property
    def is_plain(self) -> bool:
        """True where the climb tells the runs plainly better than the steps."""
        return self.against_steps < PLAINLY_CLIMB

    @property
    def is_open(self) -> bool:
        """True where the runs do not tell a climb from steps."""
        return PLAINLY_CLIMB <= self.against_steps <= PLAINLY_STEPS


def slow_climb(values: ArrayLike, steps: Sequence[int]) -> Climb | None:
    """Return the slow change that tells a series best, weighed against steps; None where there are too few runs.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, none missing, on the scale on which the spread is even.
    steps : sequence of int
        The first run of each new level, in order: what is held against the climb.
    """
    series = as_series(values)
    n = series.size
    if n < 2 * FEWEST_RUNS or not steps:
        return None
    by_steps = sum(float(((part - part.mean()) ** 2).sum()) for part in np.split(series, list(steps)))
    if by_steps <= 0:
        return None
    begins, ends = _corners(n)
    left_over, slope_squares = _left_over(series, begins, ends)
    all_along = (begins == 0) & (ends == n - 1)
    numbers = np.where(all_along, 2, 4)
    weighed = n * np.log(np.maximum(left_over, 1e-300)) + numbers * math.log(n)
    best = int(np.argmin(weighed))
    of_steps = n * math.log(by_steps) + (2 * len(steps) + 1) * math.log(n)
    return _described(series, begins, ends, left_over, slope_squares, best, float(weighed[best]) - of_steps)


def _corners(n: int) -> tuple[IntArray, IntArray]:
    """Return every pair of corners on a grid of runs that are far enough apart."""
    grid = np.unique(np.linspace(0, n - 1, min(n, _MOST_CORNERS)).round().astype(np.int64))
    begins, ends = np.meshgrid(grid, grid, indexing="ij")
    apart: BoolArray = ends - begins >= FEWEST_RUNS
    return begins[apart], ends[apart]


def _left_over(series: FloatArray, begins: IntArray, ends: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return the squares that each climb leaves over, and the squares of its own shape."""
    place = np.arange(series.size)
    shape = np.clip((place - begins[:, None]) / (ends - begins)[:, None], 0.0, 1.0)
    shape -= shape.mean(axis=1, keepdims=True)
    off = series - series.mean()
    squares = (shape**2).sum(axis=1)
    return float(off @ off) - (shape @ off) ** 2 / squares, squares


def _described(
    series: FloatArray,
    begins: IntArray,
    ends: IntArray,
    left_over: FloatArray,
    squares: FloatArray,
    best: int,
    against_steps: float,
) -> Climb:
    n, first, last = series.size, int(begins[best]), int(ends[best])
    shape = np.clip((np.arange(n) - first) / (last - first), 0.0, 1.0)
    size = float((shape - shape.mean()) @ (series - series.mean()) / squares[best])
    before = float(series.mean() - size * shape.mean())
    freedom = n - 4
    variance = left_over[best] / freedom
    reach = float(stdtrit(freedom, 0.975)) * math.sqrt(variance / squares[best])
    near = left_over <= left_over[best] + _WITHIN * variance
    return Climb(
        begins=first,
        ends=last,
        earliest=int(begins[near].min()),
        latest=int(begins[near].max()),
        before=before,
        after=before + size,
        low=size - reach,
        high=size + reach,
        against_steps=against_steps,
    )
