"""Are runs stable by their own run-to-run spread, and are the packs within a run alike?

The run is the unit: its mean is one point, whatever the number of packs read, and its limits come from the moving range
of run means. The packs of a run tell the spread within runs, which has a chart of its own, and so how much of the
spread of single packs lies between runs.

Source: Montgomery 2009, "Introduction to Statistical Quality Control", 6th ed., 6.3 (moving ranges of subgroup means
where subgroups differ among themselves; from memory); Searle, Casella and McCulloch 1992, "Variance Components", 3.6,
for the parts of the variance in one-way data of unequal sizes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import Scale, as_flags, as_phases, from_scale
from analysis.charts.batch_individuals import batch_individuals
from analysis.charts.chart import Chart
from analysis.charts.individuals import individuals
from analysis.charts.run_rules import FIRST_RULES
from analysis.charts.subgroups import WithinSpread, spread_chart, subgroup_statistics

__all__ = ["BetweenWithin", "between_within"]


@dataclass(frozen=True, eq=False)
class BetweenWithin:
    """Three charts and the two parts of the spread.

    ``means``: the run means with limits from their moving ranges. ``moving_range``: those moving ranges. ``within``:
    the spread within each run. ``sigma_within`` and ``sigma_between`` are the baseline's, on the chart's scale, of the
    last phase; NaN where no run has two packs.
    """

    means: Chart
    moving_range: Chart
    within: Chart
    sigma_within: float
    sigma_between: float

    @property
    def share_between(self) -> float:
        """The share of the variance of single packs that lies between runs."""
        total = self.sigma_between**2 + self.sigma_within**2
        return self.sigma_between**2 / total if total > 0 else float("nan")


def between_within(
    values: ArrayLike,
    runs: ArrayLike,
    *,
    spread: WithinSpread = "standard deviation",
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    batches: ArrayLike | None = None,
) -> BetweenWithin:
    """Return the charts of run means, of their moving ranges, and of the spread within runs.

    Parameters
    ----------
    values : array, shape (n,)
        One pack each, in the measure's unit; NaN where a reading is missing.
    runs : array of int, shape (n,)
        Run of each pack, from 0 in their order.
    spread : {"range", "standard deviation"}
        What the spread within a run is told by.
    scale : {"log", "linear"}
        Scale of means, limits and spreads; on the log scale a run's mean is that of the logs.
    baseline, phases : array, shape (runs,), optional
        As for ``individuals``, one entry a run.
    rules : iterable of str
        The run rules that are on for the run means.
    batches : array of int, shape (runs,), optional
        The number of each run's batch, as for ``batch_individuals``: the spread between runs is then that of batches
        and of runs within them, and ``moving_range`` stays that of the runs.

    Raises
    ------
    ValueError
        As for ``subgroups``.
    """
    found = subgroup_statistics(values, runs, spread, scale)
    n = found.sizes.size
    means = from_scale(found.means, scale)
    charts = individuals(means, scale=scale, baseline=baseline, phases=phases, rules=rules)
    of_runs = batch_individuals(means, batches, scale=scale, baseline=baseline, phases=phases, rules=rules)
    phase = as_phases(phases, n)
    in_baseline = as_flags(baseline, n, "baseline") & (found.sizes > 0)
    within = spread_chart(found, in_baseline, phase)
    last = in_baseline & (phase == phase[-1]) if n else in_baseline
    sigma_within = float(within.sigma[-1]) if n else float("nan")
    sigma_of_means = float(of_runs.sigma[-1]) if n else float("nan")
    harmonic = float(np.mean(1 / found.sizes[last])) if last.any() else float("nan")
    between = max(0.0, sigma_of_means**2 - sigma_within**2 * harmonic)
    return BetweenWithin(of_runs, charts.moving_range, within.chart, sigma_within, between**0.5)
