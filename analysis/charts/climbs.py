"""Did the level climb or fall slowly instead of stepping: from when to when, and by how much?

The level is flat, then goes straight from one height to another, then is flat again; a straight line over all runs is
the same without flat ends. The two corners are found by least squares over a grid of runs. Climb and steps are weighed
by the Bayesian information criterion, and between plain answers lies one that is open: few runs do not tell the two
apart.

Where the corners lie is not known, and the steepest of many climbs is not the likeliest size: taken for certain, the
best corners overstate it. The size is the mean over all corners, each weighed by how well it tells the runs, and its
interval holds what the corners leave open too.

Source: Schwarz 1978, "Estimating the dimension of a model", Ann. Stat. 6; Hudson 1966, "Fitting segmented curves whose
join points have to be estimated", J. Am. Stat. Assoc. 61, for the corners by least squares; Hoeting, Madigan, Raftery
and Volinsky 1999, "Bayesian model averaging: a tutorial", Stat. Sci. 14, for the mean over corners.
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

AS_LONG = 60
"""The number of runs that the two thresholds below are told for."""


def plainly_climb(runs: int) -> float:
    """Return below which criterion, the climb's less that of the steps, a series of so many runs plainly climbed.

    The longer the series, the less often a step looks like a climb. With this of simulated steps of 1.5 sigma or more,
    3 to 7 % are told as climbs at 20 to 120 runs; with one threshold for all lengths it was 13 % of the short ones and
    1 % of the long (held by a test).
    """
    return 2 * math.log2(runs / AS_LONG) - 1


def plainly_steps(runs: int) -> float:
    """Return above which criterion it plainly stepped: of simulated climbs of 1.5 sigma or more 2 to 7 % are so."""
    return 6 + 0.75 * max(math.log2(AS_LONG / runs), 0.0)


ALL_ALONG = 0.3
"""The weight, before the runs are looked at, of a climb from the first run to the last. Of simulated climbs of two and
three sigma that take two fifths or more of 40 to 120 runs, the 95 % interval then holds the truth in 91 to 99 % of
those told (56 to 98 % with the best corners taken for certain), and their size is told 6 % too small to 30 % too large
(not 0 to 48 %): those that are told are the steeper ones (some held by a test)."""

_MOST_CORNERS = 30
_WITHIN = 3.841458820694124  # the 95 % point of chi-squared with one degree of freedom


@dataclass(frozen=True)
class Climb:
    """A slow change of the level, upward or downward.

    It starts after run ``begins`` and is over at run ``ends``, counted from 0; with 95 % confidence ``begins`` lies
    from ``earliest`` to ``latest``. ``before`` and ``after`` are the levels at its two ends, and ``low`` to ``high``
    the 95 % interval of their difference, all in the unit of the series and over all corners. ``against_steps`` is its
    Bayesian information criterion less that of the steps, over ``runs`` runs.
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
    runs: int

    @property
    def is_plain(self) -> bool:
        """True where the climb tells the runs plainly better than the steps."""
        return self.against_steps < plainly_climb(self.runs)

    @property
    def is_open(self) -> bool:
        """True where the runs do not tell a climb from steps."""
        return plainly_climb(self.runs) <= self.against_steps <= plainly_steps(self.runs)


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
    fits = _fits(series, *_corners(n))
    all_along = (fits.begins == 0) & (fits.ends == n - 1)
    numbers = np.where(all_along, 2, 4)
    weighed = n * np.log(np.maximum(fits.left_over, 1e-300)) + numbers * math.log(n)
    best = int(np.argmin(weighed))
    of_steps = n * math.log(by_steps) + (2 * len(steps) + 1) * math.log(n)
    return _described(series, fits, best, float(weighed[best]) - of_steps)


def _corners(n: int) -> tuple[IntArray, IntArray]:
    """Return every pair of corners on a grid of runs that are far enough apart."""
    grid = np.unique(np.linspace(0, n - 1, min(n, _MOST_CORNERS)).round().astype(np.int64))
    begins, ends = np.meshgrid(grid, grid, indexing="ij")
    apart: BoolArray = ends - begins >= FEWEST_RUNS
    return begins[apart], ends[apart]


@dataclass(frozen=True, eq=False)
class _Fits:
    """What each pair of corners makes of a series, shape (pairs,): the squares that it leaves over, those of its own
    shape, the mean of that, and the size of the climb."""

    begins: IntArray
    ends: IntArray
    left_over: FloatArray
    squares: FloatArray
    middle: FloatArray
    size: FloatArray


def _fits(series: FloatArray, begins: IntArray, ends: IntArray) -> _Fits:
    place = np.arange(series.size)
    shape = np.clip((place - begins[:, None]) / (ends - begins)[:, None], 0.0, 1.0)
    middle = shape.mean(axis=1)
    shape -= middle[:, None]
    off = series - series.mean()
    squares = (shape**2).sum(axis=1)
    product = shape @ off
    return _Fits(begins, ends, float(off @ off) - product**2 / squares, squares, middle, product / squares)


def _described(series: FloatArray, fits: _Fits, best: int, against_steps: float) -> Climb:
    n = series.size
    freedom = n - 4
    variance = float(fits.left_over.min()) / freedom
    all_along = (fits.begins == 0) & (fits.ends == n - 1)
    weight = np.where(all_along, ALL_ALONG, (1 - ALL_ALONG) / max(all_along.size - 1, 1))
    weight *= np.exp(-(fits.left_over - fits.left_over.min()) / (2 * variance))
    weight /= weight.sum()
    size = float(weight @ fits.size)
    spread = math.sqrt(float(weight @ (variance / fits.squares + (fits.size - size) ** 2)))
    reach = float(stdtrit(freedom, 0.975)) * spread
    before = float(series.mean() - weight @ (fits.size * fits.middle))
    near = fits.left_over <= fits.left_over[best] + _WITHIN * fits.left_over[best] / freedom
    return Climb(
        begins=int(fits.begins[best]),
        ends=int(fits.ends[best]),
        earliest=int(fits.begins[near].min()),
        latest=int(fits.begins[near].max()),
        before=before,
        after=before + size,
        low=size - reach,
        high=size + reach,
        against_steps=against_steps,
        runs=n,
    )
