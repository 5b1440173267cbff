"""Are the means of subgroups stable against the spread within them, and is that spread stable?

For readings that are taken together and differ only by what happens within a subgroup. Cans of a packaging run are not
that: runs differ among themselves as well, and ``between_within`` is their chart.

Source: ISO 7870-2:2013; NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.1; for unequal sizes Burr 1969, "Control
charts for measurements with varying sample sizes", J. Qual. Technol. 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_phases, as_series, to_scale
from analysis.charts.chart import Chart, draw_up, small_baseline
from analysis.charts.constants import ChartConstants, chart_constants
from analysis.charts.phases import by_phase
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["SubgroupStatistics", "Subgroups", "WithinSpread", "spread_chart", "subgroup_statistics", "subgroups"]

WithinSpread = Literal["range", "standard deviation"]


@dataclass(frozen=True, eq=False)
class SubgroupStatistics:
    """Size, mean and spread of each subgroup on the chart's scale, shape (groups,); NaN where there is none."""

    sizes: IntArray
    means: FloatArray
    spreads: FloatArray
    spread: WithinSpread


@dataclass(frozen=True, eq=False)
class Subgroups:
    """The chart of the means and the chart of the spreads (on the readings' scale), and each subgroup's size."""

    means: Chart
    spreads: Chart
    sizes: IntArray


def subgroups(
    values: ArrayLike,
    groups: ArrayLike,
    *,
    spread: WithinSpread = "standard deviation",
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
) -> Subgroups:
    """Return the charts of subgroup means and spreads.

    Parameters
    ----------
    values : array, shape (n,)
        One reading each, in the measure's unit; NaN where a reading is missing.
    groups : array of int, shape (n,)
        Subgroup of each reading, from 0; subgroups are charted in this order, and need not be of one size.
    spread : {"range", "standard deviation"}
        What the spread within a subgroup is told by; a range loses much past about ten readings.
    scale : {"log", "linear"}
        Scale of the means and limits.
    baseline : array of bool, shape (groups,), optional
        The subgroups that the limits are made from; all of them without it.
    phases : array of int, shape (groups,), optional
        Phase of each subgroup.
    rules : iterable of str
        The run rules that are on for the means; spreads have the limit alone.

    Raises
    ------
    ValueError
        If an array has another shape, or ``spread`` is neither.
    """
    found = subgroup_statistics(values, groups, spread, scale)
    n = found.sizes.size
    in_baseline = as_flags(baseline, n, "baseline") & (found.sizes > 0)
    phase = as_phases(phases, n)
    spreads = spread_chart(found, in_baseline, phase)
    sigma = spreads.sigma
    with np.errstate(invalid="ignore", divide="ignore"):
        of_mean = sigma / np.sqrt(found.sizes)
    means = draw_up(
        "mean",
        found.means,
        _grand_means(found, in_baseline, phase),
        np.where(found.sizes > 0, of_mean, np.nan),
        scale=scale,
        baseline=in_baseline,
        phase=phase,
        rules=rules,
        cautions=small_baseline(int(np.count_nonzero(in_baseline)), "subgroups"),
    )
    return Subgroups(means, spreads.chart, found.sizes)


def subgroup_statistics(values: ArrayLike, groups: ArrayLike, spread: WithinSpread, scale: Scale) -> SubgroupStatistics:
    """Return size, mean and spread of each subgroup; parameters as in ``subgroups``."""
    charted = to_scale(as_series(values), scale)
    group = np.asarray(groups, dtype=np.int64)
    if group.shape != charted.shape or (group < 0).any():
        raise ValueError(f"groups must be {charted.size} numbers from 0, got shape {group.shape}")
    if spread not in ("range", "standard deviation"):
        raise ValueError(f"spread must be range or standard deviation, got {spread!r}")
    n = int(group.max()) + 1 if group.size else 0
    present = ~np.isnan(charted)
    own, y = group[present], charted[present]
    sizes = np.bincount(own, minlength=n)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.bincount(own, y, minlength=n) / sizes
        squares = np.bincount(own, (y - means[own]) ** 2, minlength=n)
        deviations = np.sqrt(squares / np.where(sizes > 1, sizes - 1, np.nan))
    if spread == "standard deviation":
        return SubgroupStatistics(sizes, means, deviations, spread)
    highest, lowest = np.full(n, -np.inf), np.full(n, np.inf)
    np.maximum.at(highest, own, y)
    np.minimum.at(lowest, own, y)
    return SubgroupStatistics(sizes, means, np.where(sizes > 1, highest - lowest, np.nan), spread)


@dataclass(frozen=True, eq=False)
class SpreadChart:
    """The chart of the spreads within, and the sigma of a single reading at each subgroup, shape (groups,)."""

    chart: Chart
    sigma: FloatArray


def spread_chart(found: SubgroupStatistics, in_baseline: BoolArray, phase: IntArray) -> SpreadChart:
    """Return the chart of the spreads within subgroups.

    Sigma is the mean of the subgroups' own estimates, each weighted by its precision; subgroups of one size weigh
    alike, and sigma is then the mean range over d2, or the mean standard deviation over c4.
    """
    centre, deviation, lower, upper, estimate, weight = (np.full(found.sizes.size, np.nan) for _ in range(6))
    for size in np.unique(found.sizes[found.sizes > 1]):
        here = found.sizes == size
        unit = _of_one_sigma(chart_constants(int(size)), found.spread)
        centre[here], deviation[here], lower[here], upper[here] = unit
        estimate[here] = found.spreads[here] / unit[0]
        weight[here] = (unit[0] / unit[1]) ** 2
    usable = in_baseline & ~np.isnan(estimate)
    total = by_phase(weight * estimate, usable, phase, _sum)
    sigma = total / by_phase(weight, usable, phase, _sum)
    chart = draw_up(
        found.spread,
        found.spreads,
        centre * sigma,
        deviation * sigma,
        baseline=usable,
        phase=phase,
        lower=np.where(lower > 0, lower * sigma, np.nan),
        upper=upper * sigma,
    )
    return SpreadChart(chart, sigma)


def _of_one_sigma(constants: ChartConstants, spread: WithinSpread) -> tuple[float, float, float, float]:
    """Return mean, standard deviation and three-sigma limits of the spread of readings with a sigma of 1."""
    if spread == "range":
        return constants.d2, constants.d3, constants.D1, constants.D2
    return constants.c4, (1 - constants.c4**2) ** 0.5, constants.B5, constants.B6


def _grand_means(found: SubgroupStatistics, in_baseline: BoolArray, phase: IntArray) -> FloatArray:
    sizes = found.sizes.astype(np.float64)
    total = by_phase(np.nan_to_num(found.means) * sizes, in_baseline, phase, _sum)
    return total / by_phase(sizes, in_baseline, phase, _sum)


def _sum(found: FloatArray) -> float:
    return float(found.sum()) if found.size else float("nan")
