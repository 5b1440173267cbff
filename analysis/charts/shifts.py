"""When did the level move, by how much, and between which dates does the move lie?

The level is taken as steady between moves. One move is placed where the two levels leave the least sum of squares (the
maximum likelihood for normal runs); several are found by dynamic programming over every possible place, with a penalty
for each move. A run is a step of one: no place is passed over.

Source: Hinkley 1970, "Inference about the change-point in a sequence of random variables", Biometrika 57; Jackson and
others 2005, "An algorithm for optimal partitioning of data on an interval", IEEE Signal Process. Lett. 12.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from analysis.charts.arrays import FloatArray, IntArray, as_series
from analysis.charts.constants import chart_constants
from analysis.charts.shift_intervals import IntervalMethod, first_runs_between

__all__ = [
    "STEADY_PENALTY",
    "Levels",
    "Shift",
    "best_partition",
    "change_point",
    "level_shifts",
    "levels_about",
    "start_of_shift",
]

# Sum of squares, in sigma squared, that a move must save. At 14 a steady series of 20 to 1000 runs shows a move about
# once in 100 series (simulated; held by a test).
STEADY_PENALTY = 14.0
FEWEST_RUNS = 5


@dataclass(frozen=True)
class Shift:
    """A move of the level.

    ``at`` is the first run of the new level, from 0; with the confidence that was asked for it lies from ``earliest``
    to ``latest``. ``before`` and ``after`` are the two levels and ``low`` to ``high`` the 95 % interval of their
    difference by the spread around both, all in the unit of the series. ``saved`` is what the move saves of the sum of
    squares, in units of the variance that is left.
    """

    at: int
    earliest: int
    latest: int
    before: float
    after: float
    low: float
    high: float
    saved: float

    @property
    def size(self) -> float:
        """The difference of the two levels, new less old."""
        return self.after - self.before


@dataclass(frozen=True)
class Levels:
    """The levels on both sides of a known place, the 95 % interval of their difference, and the squares left over."""

    before: float
    after: float
    low: float
    high: float
    left_over: float


def change_point(
    values: ArrayLike,
    *,
    fewest: int = 1,
    level: float = 0.95,
    interval: IntervalMethod = "conditional",
    least_saved: float = 0.0,
) -> Shift | None:
    """Return the one move that explains most; None where the runs are too few or all alike, or it saves too little.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order; a missing run (NaN) is passed over.
    fewest : int
        The fewest runs that each of the two levels must have.
    level : float
        Confidence of the interval for the date.
    interval : {"conditional", "large sample"}
        How that interval is made; see ``shift_intervals``.
    least_saved : float
        What the move must save, as ``Shift.saved`` counts it.
    """
    series = as_series(values)
    places = np.flatnonzero(~np.isnan(series))
    found = series[places]
    if found.size < max(2 * fewest, 3) or np.ptp(found) == 0:
        return None
    split = _best_split(found, fewest)
    return _described(found, places, split, level, interval) if _saved(found, split) >= least_saved else None


def level_shifts(
    values: ArrayLike,
    *,
    penalty: float = STEADY_PENALTY,
    fewest: int = FEWEST_RUNS,
    level: float = 0.95,
    interval: IntervalMethod = "conditional",
) -> tuple[Shift, ...]:
    """Return every move of the level that saves more than the penalty, in order.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, on the scale on which the spread is even; a missing run (NaN) is passed over.
    penalty : float
        What a move must save, in units of the run-to-run variance (from moving ranges, which do not see the moves).
    fewest : int
        The fewest runs that a level lasts.
    level, interval
        As in ``change_point``.
    """
    series = as_series(values)
    places = np.flatnonzero(~np.isnan(series))
    found = series[places]
    if found.size < 2 * fewest:
        return ()
    starts: list[int] = []
    for _ in range(2):  # the second pass leaves the steps themselves out of the run-to-run spread
        variance = _run_to_run_variance(found, starts)
        if variance == 0:
            break
        starts = best_partition(found, penalty * variance, fewest)
        if not starts:
            break
    edges = [0, *starts, found.size]
    return tuple(
        _described(found[left:right], places[left:right], split - left, level, interval)
        for left, split, right in zip(edges, edges[1:], edges[2:], strict=False)
    )


def levels_about(values: ArrayLike, at: int) -> Levels:
    """Return the levels before and after a known place.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order; a missing run (NaN) is passed over.
    at : int
        The first run of the new level, from 0.

    Raises
    ------
    ValueError
        If either side has no run, or both together fewer than three.
    """
    series = as_series(values)
    before, after = (part[~np.isnan(part)] for part in (series[:at], series[at:]))
    freedom = before.size + after.size - 2
    if not (before.size and after.size and freedom):
        raise ValueError(
            f"at must have runs on both sides, three in all, got {before.size} before and {after.size} after"
        )
    left_over = float(((before - before.mean()) ** 2).sum() + ((after - after.mean()) ** 2).sum())
    size = float(after.mean() - before.mean())
    reach = float(stdtrit(freedom, 0.975)) * math.sqrt(left_over / freedom * (1 / before.size + 1 / after.size))
    return Levels(float(before.mean()), float(after.mean()), size - reach, size + reach, left_over)


def start_of_shift(z: ArrayLike, signal: int) -> int:
    """Return the run, from 0, at which a shift that was signalled most likely started.

    Parameters
    ----------
    z : array, shape (n,)
        Distance of each run from the centre that it had while stable; a missing run (NaN) is passed over.
    signal : int
        The run that gave the signal, from 0.

    Notes
    -----
    The start t maximises (T - t)(mean of z over t..T)². It is exact in only 26 % of cases for a shift of one sigma that
    a three-sigma limit signals, and within three runs in 69 %: never show it without its interval.

    Source: Samuel, Pignatiello and Calvin 1998, "Identifying the time of a step change with X-bar control charts",
    Qual. Eng. 10.
    """
    series = as_series(z, "z")
    if not 0 <= signal < series.size or np.isnan(series[signal]):
        raise ValueError(f"signal must be a run that is not missing, from 0 to {series.size - 1}, got {signal}")
    until = series[: signal + 1]
    present = np.flatnonzero(~np.isnan(until))
    backwards = until[present][::-1]
    gain = np.cumsum(backwards) ** 2 / np.arange(1, backwards.size + 1)
    return int(present[::-1][int(np.argmax(gain))])


def _best_split(found: FloatArray, fewest: int) -> int:
    centred = found - found.mean()
    k = np.arange(fewest, found.size - fewest + 1)
    sums = np.cumsum(centred)[k - 1]
    return int(k[np.argmax(sums**2 / (k * (found.size - k)))])


def _described(found: FloatArray, places: IntArray, split: int, level: float, interval: IntervalMethod) -> Shift:
    levels = levels_about(found, split)
    first, last = first_runs_between(found, split, level, interval)
    return Shift(
        at=int(places[split]),
        earliest=int(places[first]),
        latest=int(places[last]),
        before=levels.before,
        after=levels.after,
        low=levels.low,
        high=levels.high,
        saved=_saved(found, split),
    )


def _saved(found: FloatArray, split: int) -> float:
    """Return what a move saves of the sum of squares, in units of the variance that is left."""
    before, after = found[:split], found[split:]
    apart = float(after.mean() - before.mean())
    saved = apart**2 * before.size * after.size / found.size
    left_over = float(((found - found.mean()) ** 2).sum()) - saved
    return saved * (found.size - 2) / left_over if left_over > 1e-12 * saved else math.inf


def _run_to_run_variance(found: FloatArray, starts: list[int]) -> float:
    steps = np.delete(np.abs(np.diff(found)), [start - 1 for start in starts])
    return float(steps.mean() / chart_constants(2).d2) ** 2


def best_partition(found: FloatArray, penalty: float, fewest: int) -> list[int]:
    """Return the first run of the second and of each later level that make squares and penalties together least.

    Parameters
    ----------
    found : array, shape (n,)
        The runs, none missing.
    penalty : float
        What each move costs, in the square of the series' unit.
    fewest : int
        The fewest runs that a level lasts.
    """
    n = found.size
    centred = found - found.mean()
    sums = np.concatenate([[0.0], np.cumsum(centred)])
    squares = np.concatenate([[0.0], np.cumsum(centred**2)])
    best = np.full(n + 1, np.inf)
    best[0] = -penalty
    came_from = np.zeros(n + 1, dtype=np.int64)
    for end in range(fewest, n + 1):
        start = np.arange(end - fewest + 1)
        cost = squares[end] - squares[start] - (sums[end] - sums[start]) ** 2 / (end - start)
        total = best[start] + cost + penalty
        came_from[end] = int(np.argmin(total))
        best[end] = total[came_from[end]]
    starts: list[int] = []
    place = int(came_from[n])
    while place > 0:
        starts.append(place)
        place = int(came_from[place])
    return starts[::-1]
