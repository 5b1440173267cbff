"""Is a series of runs stable where a batch is packaged in several runs, which resemble each other?

The spread of a single run is that of batch means, from their moving ranges, and what such a mean evens out of the
spread of runs within a batch, which is pooled over the batches that have several. A single run is held against limits
three sigmas of that from the centre, which is the mean of the batch means. Where every batch has one run, this is the
individuals chart, number for number.

Source: as in ``batches``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_phases, as_series, to_scale
from analysis.charts.batches import Batches, OfBatches, Parts, as_batches, batch_means, parts_within
from analysis.charts.chart import Chart, draw_up, small_baseline
from analysis.charts.individuals import individuals, mean_of, moving_ranges, sigma_of_moving_ranges
from analysis.charts.phases import by_phase, fewest_in_a_phase
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["batch_individuals", "parts_of_spread", "sigma_of_batch_means", "sigma_of_runs"]


def batch_individuals(
    values: ArrayLike,
    batches: ArrayLike | None,
    *,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    centre: float | None = None,
    sigma: float | None = None,
) -> Chart:
    """Return the chart of the runs, with limits and patterns that know which runs are of one batch.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; NaN where a run is missing.
    batches : array of int, shape (n,), optional
        The number of each run's batch; -1 where that is not known, and the run is then a batch of its own.
    scale, baseline, phases, rules, centre, sigma
        As for ``individuals``; a ``sigma`` that is given is that of a single run.

    Returns
    -------
    Chart
        Its ``of_batches`` is None where no batch has several runs. Where a phase's baseline has no two batches side by
        side, its limits are NaN and the chart says so.

    Raises
    ------
    ValueError
        As for ``individuals``, and if ``batches`` has another shape.
    """
    charted = to_scale(as_series(values), scale)
    phase = as_phases(phases, charted.size)
    several = as_batches(batches, charted.size, phase)
    if several is None:
        return individuals(
            values, scale=scale, baseline=baseline, phases=phases, rules=rules, centre=centre, sigma=sigma
        ).values
    if sigma is not None and not sigma > 0:
        raise ValueError(f"sigma must be above 0, got {sigma}")
    in_baseline = as_flags(baseline, charted.size, "baseline") & ~np.isnan(charted)
    used, size = batch_means(charted, in_baseline, several)
    given = None if centre is None else float(to_scale(np.array([centre]), scale)[0])
    middle = by_phase(used, size > 0, several.phase, mean_of, given)[several.of_run]
    parts = [parts_of_spread(charted, in_baseline & (phase == number), several, sigma) for number in _phases(phase)]
    place = np.searchsorted(_phases(phase), phase)
    between, within = (np.array([getattr(one, name) for one in parts])[place] for name in ("between", "within"))
    width = np.sqrt(between**2 + within**2)
    every, count = batch_means(charted, np.ones(charted.size, dtype=np.bool_), several)
    of_mean = sigma_of_batch_means(between[several.last], within[several.last], count)
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where(of_mean > 0, (every - middle[several.last]) / of_mean, np.nan)
    return draw_up(
        "value",
        charted,
        middle,
        width,
        scale=scale,
        baseline=in_baseline,
        phase=phase,
        rules=rules,
        cautions=_cautions(width, several, size) if sigma is None else (),
        of_batches=OfBatches(several, z, of_mean, parts[-1]),
    )


def sigma_of_batch_means(between: FloatArray, within: FloatArray, size: IntArray) -> FloatArray:
    """Return the standard deviation of the mean of each batch's runs, shape (k,); NaN where a batch has none."""
    with np.errstate(invalid="ignore", divide="ignore"):
        found: FloatArray = np.where(size > 0, np.sqrt(between**2 + within**2 / size), np.nan)
    return found


def _phases(phase: IntArray) -> IntArray:
    return np.unique(phase)


def parts_of_spread(charted: FloatArray, used: BoolArray, batches: Batches, sigma: float | None) -> Parts:
    """Return the two parts of the spread of one phase's baseline; where sigma is given, as it is shared by them.

    Parameters
    ----------
    charted : array, shape (n,)
    used : array of bool, shape (n,)
        The baseline runs of the phase.
    batches : Batches
    sigma : float, optional
        That of a single run, where it is not to be made from the baseline.
    """
    squares, freedom = parts_within(charted, used, batches)
    within = math.sqrt(squares / freedom) if freedom else 0.0
    if sigma is None:
        means, size = batch_means(charted, used, batches)
        of_means = sigma_of_moving_ranges(moving_ranges(means, batches.phase))
        sigma = sigma_of_runs(of_means, within, size)
    within = min(within, sigma)
    return Parts(math.sqrt(sigma**2 - within**2), within)


def sigma_of_runs(of_means: float, within: float, size: IntArray) -> float:
    """Return the standard deviation of a single run: what batch means spread, and what of the runs these even out.

    Parameters
    ----------
    of_means : float
        That of the batch means.
    within : float
        That of the runs of one batch; few of them tell it poorly, and then it counts for little.
    size : array of int, shape (k,)
        The runs that each mean is made of; 0 where there is none.
    """
    evened_out = 1 - float(np.mean(1 / size[size > 0])) if (size > 0).any() else math.nan
    return math.sqrt(of_means**2 + evened_out * within**2)


def _cautions(sigma: FloatArray, batches: Batches, size: IntArray) -> tuple[str, ...]:
    if np.isnan(sigma).all():
        return ("No limits: the baseline has no two batches side by side.",)
    if np.isnan(sigma).any():
        return ("A phase has no limits: its baseline has no two batches side by side.",)
    if (sigma == 0).any():
        return ("No signals: the baseline's runs are all alike, so that its spread is 0.",)
    return small_baseline(fewest_in_a_phase(size > 0, batches.phase), "batches")
