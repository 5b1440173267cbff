"""Did something move across recipes, before any one recipe has enough runs to show it?

Each run is held against the centre and spread of its own recipe (any grouping), so that one chart carries them all. A
group with few runs lends its spread from all groups, and each distance allows for the runs that its centre rests on.

Source: Bothe 1989, "A powerful new control chart for job shops", ASQC Annual Quality Congress Transactions (the idea of
standardised deviations by part; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_series, to_scale
from analysis.charts.chart import Chart, draw_up
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
    centre, known = _centres(charted, group, in_baseline)
    sigma = _spreads(charted, group, in_baseline)
    deviation = charted - centre
    with np.errstate(invalid="ignore", divide="ignore"):
        share = np.where(known >= FEWEST_FOR_CENTRE, 1 / known, np.nan)
        z = deviation / (sigma * np.sqrt(np.where(in_baseline, 1 - share, 1 + share)))
    ones = np.ones(charted.size)
    chart = draw_up(
        "distance from its own centre in sigmas",
        z,
        0 * ones,
        ones,
        baseline=in_baseline,
        phase=np.zeros(charted.size, dtype=np.int64),
        rules=rules,
    )
    return Standardised(chart, deviation, sigma)


def _centres(charted: FloatArray, group: IntArray, in_baseline: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Return each run's group mean, and the number of baseline runs that it rests on."""
    count = np.bincount(group[in_baseline], minlength=_groups(group)).astype(np.float64)
    total = np.bincount(group[in_baseline], charted[in_baseline], minlength=_groups(group))
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = total / count
    return mean[group], count[group]


def _spreads(charted: FloatArray, group: IntArray, in_baseline: BoolArray) -> FloatArray:
    """Return each run's sigma: its group's own from moving ranges, or that of all groups together."""
    ranges: list[FloatArray] = []
    for number in range(_groups(group)):
        own = charted[(group == number) & in_baseline]
        ranges.append(moving_ranges(own, np.zeros(own.size, dtype=np.int64)))
    together = sigma_of_moving_ranges(np.concatenate([np.empty(0), *ranges]))
    own_or_all = [sigma_of_moving_ranges(r) if r.size >= FEWEST_FOR_OWN_SPREAD else together for r in ranges]
    sigma = np.array(own_or_all)[group] if own_or_all else np.empty(0)
    return np.where(sigma > 0, sigma, np.nan)


def _groups(group: IntArray) -> int:
    return int(group.max()) + 1 if group.size else 0
