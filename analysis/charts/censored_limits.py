"""Which limits follow from runs of which some are only known to lie below a meter's limit?

Centre and sigma are the censored maximum likelihood of the baseline: a moving range of two censored runs says nothing.
There is no lower limit below the meter's own: a run that low could not be told from any other. A censored run counts
for the rules only where its side of the centre is sure, and is beyond a limit only where its own bound is. Where a
batch has several runs, patterns count batches, and one of which a run is censored only where its mean's side is sure.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_phases, as_series, to_scale
from analysis.charts.batches import Batches, OfBatches, Parts, as_batches, batch_means
from analysis.charts.censored import as_censoring, censored_means
from analysis.charts.chart import Chart, draw_up, small_baseline
from analysis.charts.phases import fewest_in_a_phase
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["CensoredIndividuals", "censored_individuals"]


@dataclass(frozen=True, eq=False)
class CensoredIndividuals:
    """The chart of the values, and how much of its baseline is censored.

    ``share_censored`` is the share of the baseline's runs; ``censored`` has shape (n,), -1 below, 0 known, 1 above.
    """

    values: Chart
    censored: NDArray[np.int8]
    share_censored: float


@dataclass(frozen=True)
class _Phase:
    centre: float
    sigma: float
    meter_limit: float


def censored_individuals(
    values: ArrayLike,
    censored: ArrayLike,
    *,
    scale: Scale = "log",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    batches: ArrayLike | None = None,
) -> CensoredIndividuals:
    """Return the chart of a series of which some runs are censored.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; where censored, the limit; NaN where a run is missing.
    censored : array of int, shape (n,)
        -1 where the run is below its value, 1 where above, 0 where it is the value itself.
    scale, baseline, phases, rules
        As for ``individuals``.
    batches : array of int, shape (n,), optional
        As for ``batch_individuals``.

    Returns
    -------
    CensoredIndividuals
        Where a phase's baseline has fewer than two different known values, its limits are NaN and the chart says so.
    """
    charted = to_scale(as_series(values), scale)
    n = charted.size
    sign = as_censoring(censored, n)
    in_baseline = as_flags(baseline, n, "baseline") & ~np.isnan(charted)
    phase = as_phases(phases, n)
    centre, sigma, meter_limit = (np.full(n, np.nan) for _ in range(3))
    for number in np.unique(phase):
        here = phase == number
        found = _estimate(charted[here & in_baseline], sign[here & in_baseline])
        centre[here], sigma[here], meter_limit[here] = found.centre, found.sigma, found.meter_limit
    with np.errstate(invalid="ignore"):
        lower = np.where(centre - 3 * sigma < meter_limit, np.nan, centre - 3 * sigma)
        side_not_sure = ((sign < 0) & (charted > centre)) | ((sign > 0) & (charted < centre))
    share = float(np.mean(sign[in_baseline] != 0)) if in_baseline.any() else 0.0
    chart = draw_up(
        "value",
        charted,
        centre,
        sigma,
        scale=scale,
        baseline=in_baseline,
        phase=phase,
        rules=rules,
        lower=lower,
        unsure=side_not_sure,
        cautions=_cautions(in_baseline, sigma, share, phase),
        of_batches=_of_batches(charted, sign, centre, sigma, as_batches(batches, n, phase)),
    )
    return CensoredIndividuals(chart, sign, share)


def _estimate(charted: FloatArray, sign: NDArray[np.int8]) -> _Phase:
    below = charted[sign < 0]
    meter_limit = float(below.max()) if below.size else -np.inf
    if not charted.size:
        return _Phase(np.nan, np.nan, meter_limit)
    fit = censored_means(charted, sign)
    centre = float(fit.means[0]) if fit.sigma > 0 else np.nan
    return _Phase(centre, fit.sigma if fit.sigma > 0 else np.nan, meter_limit)


def _of_batches(
    charted: FloatArray, sign: NDArray[np.int8], centre: FloatArray, sigma: FloatArray, batches: Batches | None
) -> OfBatches | None:
    """Return each batch's mean in sigmas of a single run: the parts of the spread are not told where runs are censored,
    and a mean never spreads more than a run."""
    if batches is None:
        return None
    means, _ = batch_means(charted, np.ones(charted.size, dtype=np.bool_), batches)
    has_low, has_high = (np.bincount(batches.of_run[side], minlength=batches.k) > 0 for side in (sign < 0, sign > 0))
    with np.errstate(invalid="ignore", divide="ignore"):
        z = (means - centre[batches.last]) / sigma[batches.last]
        z[(has_low & (z > 0)) | (has_high & (z < 0))] = np.nan
    spread = float(sigma[-1])
    return OfBatches(batches, z, sigma[batches.last], Parts(spread, float("nan")))


def _cautions(in_baseline: BoolArray, sigma: FloatArray, share: float, phase: IntArray) -> tuple[str, ...]:
    if np.isnan(sigma).any():
        return ("No limits: too many of the baseline's runs are censored to tell its spread.",)
    runs = fewest_in_a_phase(in_baseline, phase)
    said = (
        (f"{100 * share:.0f} % of the baseline's runs are censored; limits by censored maximum likelihood.",)
        if share
        else ()
    )
    return said + small_baseline(runs)
