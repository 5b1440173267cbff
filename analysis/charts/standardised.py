"""Did something move across recipes, before any one recipe has enough runs to show it?

Each run is held against the centre and spread of its own recipe (any grouping), so that one chart carries them all. A
group with few runs lends its spread from all groups, and each distance allows for the runs that its centre rests on.
Where a batch has several runs, centres and spreads are made from batches, as in ``batches``.

Source: Bothe 1989, "A powerful new control chart for job shops", ASQC Annual Quality Congress Transactions (the idea of
standardised deviations by part; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_series, to_scale
from analysis.charts.batch_individuals import batch_individuals, sigma_of_runs
from analysis.charts.batches import as_batches, batch_means, parts_within
from analysis.charts.chart import Chart
from analysis.charts.individuals import moving_ranges, sigma_of_moving_ranges
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["Standardised", "standardised"]

FEWEST_FOR_OWN_SPREAD = 12
FEWEST_FOR_CENTRE = 2


@dataclass(frozen=True, eq=False)
class Standardised:
    """The chart of distances in sigmas, and what they were counted from; every array has shape (n,).

    ``deviation`` is each run less its group's centre and ``sigma`` the spread that it was divided by, both on the scale
    that was asked for. A run whose group has too few runs is NaN everywhere.
    """

    chart: Chart
    deviation: FloatArray
    sigma: FloatArray


def standardised(
    values: ArrayLike,
    groups: ArrayLike,
    *,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    batches: ArrayLike | None = None,
) -> Standardised:
    """Return the chart of each run against its own group.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order over all groups, in the measure's unit; NaN where a run is missing.
    groups : array of int, shape (n,)
        Group of each run, from 0.
    scale : {"log", "linear"}
        Scale on which distances are taken.
    baseline : array of bool, shape (n,), optional
        The runs that centres and spreads are made from; all of them without it.
    rules : iterable of str
        The run rules that are on.
    batches : array of int, shape (n,), optional
        The number of each run's batch, as for ``batch_individuals``. A batch in two groups counts in each.

    Raises
    ------
    ValueError
        If an array has another shape, or a value on the log scale is not positive.
    """
    charted = to_scale(as_series(values), scale)
    group = np.asarray(groups, dtype=np.int64)
    if group.shape != charted.shape:
        raise ValueError(f"groups must be {charted.size} numbers, got shape {group.shape}")
    present = ~np.isnan(charted)
    in_baseline = as_flags(baseline, charted.size, "baseline") & present
    apart = _apart(batches, group)
    centre, known = _centres(charted, group, in_baseline, apart)
    sigma = _spreads(charted, group, in_baseline, apart)
    deviation = charted - centre
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(known >= FEWEST_FOR_CENTRE, 1 / known, np.nan)
        z = deviation / (sigma * np.sqrt(np.where(in_baseline, 1 - share, 1 + share)))
    chart = batch_individuals(z, batches, baseline=in_baseline, rules=rules, centre=0.0, sigma=1.0)
    return Standardised(replace(chart, statistic="distance from its own centre in sigmas"), deviation, sigma)


def _apart(batches: ArrayLike | None, group: IntArray) -> IntArray | None:
    """Return the batches' numbers so that a batch is another one in another group; None where each has one run."""
    if batches is None or as_batches(batches, group.size, np.zeros(group.size, dtype=np.int64)) is None:
        return None
    named = np.asarray(batches, dtype=np.int64)
    return np.where(named < 0, named, named * _groups(group) + group)


def _centres(
    charted: FloatArray, group: IntArray, in_baseline: BoolArray, batches: IntArray | None
) -> tuple[FloatArray, FloatArray]:
    """Return each run's group mean, and the number of baseline batches that it rests on."""
    own, used = group[in_baseline], charted[in_baseline]
    several = None if batches is None else as_batches(batches[in_baseline], used.size, 0 * own)
    if several is not None:
        used, _ = batch_means(used, np.ones(used.size, dtype=np.bool_), several)
        own = own[several.last]
    count = np.bincount(own, minlength=_groups(group)).astype(np.float64)
    total = np.bincount(own, used, minlength=_groups(group))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / count
    return mean[group], count[group]


@dataclass(frozen=True, eq=False)
class _Apart:
    """How far a group's batches lie apart (moving ranges), the squares of runs about theirs, and the batches' sizes."""

    ranges: FloatArray
    sizes: IntArray
    squares: float = 0.0
    freedom: int = 0

    @property
    def sigma(self) -> float:
        """The standard deviation of a single run."""
        of_means = sigma_of_moving_ranges(self.ranges)
        if not self.freedom:
            return of_means
        return sigma_of_runs(of_means, math.sqrt(self.squares / self.freedom), self.sizes)


def _spreads(charted: FloatArray, group: IntArray, in_baseline: BoolArray, batches: IntArray | None) -> FloatArray:
    """Return each run's sigma: its group's own from moving ranges, or that of all groups together."""
    found: list[_Apart] = []
    for number in range(_groups(group)):
        here = (group == number) & in_baseline
        found.append(_own_spread(charted[here], None if batches is None else batches[here]))
    together = _Apart(
        np.concatenate([np.empty(0), *(one.ranges for one in found)]),
        np.concatenate([np.empty(0, dtype=np.int64), *(one.sizes for one in found)]),
        sum(one.squares for one in found),
        sum(one.freedom for one in found),
    ).sigma
    own_or_all = [one.sigma if one.ranges.size >= FEWEST_FOR_OWN_SPREAD else together for one in found]
    sigma = np.array(own_or_all)[group] if own_or_all else np.empty(0)
    return np.where(sigma > 0, sigma, np.nan)


def _own_spread(own: FloatArray, batches: IntArray | None) -> _Apart:
    phase = np.zeros(own.size, dtype=np.int64)
    several = as_batches(batches, own.size, phase)
    if several is None:
        return _Apart(moving_ranges(own, phase), np.ones(own.size, dtype=np.int64))
    every = np.ones(own.size, dtype=np.bool_)
    means, size = batch_means(own, every, several)
    squares, freedom = parts_within(own, every, several)
    return _Apart(moving_ranges(means, several.phase), size, squares, freedom)


def _groups(group: IntArray) -> int:
    return int(group.max()) + 1 if group.size else 0
