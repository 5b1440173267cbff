"""Are defects, or the share that failed, stable: by chance alone, or with the spread that batches have besides?

Limits are three sigmas of the binomial or Poisson, or the exact probability limits of either. Real counts often spread
more than chance: the over-dispersed form measures by how much, from run to run, and widens the limits by it. Without
it, large samples put most points outside. Where a batch has several runs, that measure and the patterns count batches,
as in ``batches``.

Source: Shewhart 1931, "Economic Control of Quality of Manufactured Product"; NIST/SEMATECH e-Handbook of Statistical
Methods, 6.3.3; Laney 2002, "Improved control charts for attributes", Qual. Eng. 14, for the over-dispersed form.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import bdtr, bdtrik, pdtr, pdtrik

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, as_flags, as_phases, as_series
from analysis.charts.batch_individuals import parts_of_spread, sigma_of_batch_means
from analysis.charts.batches import Batches, OfBatches, Parts, as_batches, batch_means
from analysis.charts.chart import Chart, draw_up, small_baseline
from analysis.charts.individuals import moving_ranges, sigma_of_moving_ranges
from analysis.charts.phases import by_phase
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["TAIL", "CountChart", "CountLimits", "defects", "defects_per_unit", "failed_shares"]

CountLimits = Literal["sigma", "over-dispersed", "probability"]
TAIL = 0.001349898031630095  # the share of a normal beyond three sigmas on one side


@dataclass(frozen=True, eq=False)
class CountChart:
    """The chart, and how its points spread against chance.

    ``dispersion`` is the run-to-run spread of the baseline's standardised points at each point, shape (n,): about 1
    where chance is all, and NaN where the baseline is too short to tell. It widens the limits of the over-dispersed
    form alone.
    """

    chart: Chart
    dispersion: FloatArray


def failed_shares(
    failed: ArrayLike,
    sizes: ArrayLike,
    *,
    limits: CountLimits = "sigma",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    centre: float | None = None,
    batches: ArrayLike | None = None,
) -> CountChart:
    """Return the chart of the share that failed (p chart).

    Parameters
    ----------
    failed, sizes : array, shape (n,)
        How many failed of how many, run by run; NaN where a run is missing. Sizes need not be alike.
    limits : {"sigma", "over-dispersed", "probability"}
        How the limits are made; see the module's docstring.
    baseline, phases, rules
        As for ``individuals``.
    centre : float, optional
        A share that is given, such as what guessing alone would give, and so not made from the baseline.
    batches : array of int, shape (n,), optional
        The number of each run's batch, as for ``batch_individuals``.

    Raises
    ------
    ValueError
        If ``centre`` does not lie between 0 and 1, more failed than there were, a size is not a whole number above 0,
        or ``limits`` is none of these.
    """
    count, size = _pair(failed, sizes)
    if centre is not None and not 0 < centre < 1:
        raise ValueError(f"centre must lie between 0 and 1, got {centre}")
    if (count > size).any():
        raise ValueError("failed must not exceed sizes")
    whole = np.nan_to_num(size, nan=1.0).astype(np.int64)
    if (whole != np.nan_to_num(size, nan=1.0)).any():
        raise ValueError("sizes must be whole numbers: so many looked at")
    return _chart(
        "share failed",
        count,
        size,
        variance=lambda share: share * (1 - share),
        distribution=lambda k, share: np.asarray(bdtr(k, whole, share), dtype=np.float64),
        inverse=lambda tail, share: np.asarray(bdtrik(tail, whole, share), dtype=np.float64),
        most=1.0,
        limits=limits,
        baseline=baseline,
        phases=phases,
        rules=rules,
        given=centre,
        batches=batches,
    )


def defects_per_unit(
    counts: ArrayLike,
    sizes: ArrayLike,
    *,
    limits: CountLimits = "sigma",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    batches: ArrayLike | None = None,
) -> CountChart:
    """Return the chart of defects per unit looked at (u chart); ``sizes`` are the units, the rest as above."""
    count, size = _pair(counts, sizes)
    return _chart(
        "defects per unit",
        count,
        size,
        variance=lambda rate: rate,
        distribution=lambda k, rate: np.asarray(pdtr(k, rate * size), dtype=np.float64),
        inverse=lambda tail, rate: np.asarray(pdtrik(tail, rate * size), dtype=np.float64),
        most=np.inf,
        limits=limits,
        baseline=baseline,
        phases=phases,
        rules=rules,
        batches=batches,
    )


def defects(
    counts: ArrayLike,
    *,
    limits: CountLimits = "sigma",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    batches: ArrayLike | None = None,
) -> CountChart:
    """Return the chart of defect counts where every run is looked at alike (c chart); parameters as above."""
    ones = np.ones(as_series(counts, "counts").size)
    return defects_per_unit(counts, ones, limits=limits, baseline=baseline, phases=phases, rules=rules, batches=batches)


def _pair(counts: ArrayLike, sizes: ArrayLike) -> tuple[FloatArray, FloatArray]:
    count, size = as_series(counts, "counts"), as_series(sizes, "sizes")
    if count.shape != size.shape:
        raise ValueError(f"sizes must be {count.size} numbers, got {size.size}")
    if (count < 0).any() or (size <= 0).any():
        raise ValueError("counts must be at least 0 and sizes above 0")
    return count, np.where(np.isnan(count), np.nan, size)


def _chart(
    statistic: str,
    count: FloatArray,
    size: FloatArray,
    *,
    variance: Callable[[FloatArray], FloatArray],
    distribution: Callable[[FloatArray, FloatArray], FloatArray],
    inverse: Callable[[float, FloatArray], FloatArray],
    most: float,
    limits: CountLimits,
    baseline: ArrayLike | None,
    phases: ArrayLike | None,
    rules: Iterable[str],
    given: float | None = None,
    batches: ArrayLike | None = None,
) -> CountChart:
    if limits not in ("sigma", "over-dispersed", "probability"):
        raise ValueError(f"limits must be sigma, over-dispersed or probability, got {limits!r}")
    n = count.size
    in_baseline = as_flags(baseline, n, "baseline") & ~np.isnan(count)
    phase = as_phases(phases, n)
    found = by_phase(count, in_baseline, phase, _sum) / by_phase(size, in_baseline, phase, _sum)
    centre = found if given is None else np.full(n, given)
    chance = np.sqrt(variance(centre) / size)
    several = as_batches(batches, n, phase)
    with np.errstate(invalid="ignore", divide="ignore"):
        z = (count / size - centre) / chance
    parts = None if several is None else _parts_by_phase(z, in_baseline, phase, several)
    dispersion = _dispersion(z, in_baseline, phase) if parts is None else np.hypot(*parts)
    sigma = chance * dispersion if limits == "over-dispersed" else chance
    if limits == "probability":
        low, high = (_quantile(p, centre, distribution, inverse) / size for p in (TAIL, 1 - TAIL))
    else:
        low, high = centre - 3 * sigma, centre + 3 * sigma
    chart = draw_up(
        statistic,
        count / size,
        centre,
        sigma,
        baseline=in_baseline,
        phase=phase,
        rules=rules,
        lower=np.where(low > 0, low, np.nan),
        upper=np.where(high < most, high, np.nan),
        cautions=_cautions(in_baseline, several) if given is None else (),
        of_batches=None if several is None else _of_batches(z, several, parts if limits == "over-dispersed" else None),
    )
    return CountChart(chart, dispersion)


def _cautions(in_baseline: BoolArray, batches: Batches | None) -> tuple[str, ...]:
    if batches is None:
        return small_baseline(int(np.count_nonzero(in_baseline)))
    return small_baseline(int(np.unique(batches.of_run[in_baseline]).size), "batches")


def _parts_by_phase(
    z: FloatArray, in_baseline: BoolArray, phase: IntArray, batches: Batches
) -> tuple[FloatArray, FloatArray]:
    """Return the spread of batches and of runs about them at each run, in units of chance."""
    between, within = np.full(z.size, np.nan), np.full(z.size, np.nan)
    for number in np.unique(phase):
        here = phase == number
        parts = parts_of_spread(z, in_baseline & here, batches, None)
        between[here], within[here] = parts.between, parts.within
    return between, within


def _of_batches(z: FloatArray, batches: Batches, parts: tuple[FloatArray, FloatArray] | None) -> OfBatches:
    """Return each batch's mean in its own sigmas: those of chance alone where the limits are made by that."""
    means, size = batch_means(z, np.ones(z.size, dtype=np.bool_), batches)
    between, within = (np.zeros(z.size), np.ones(z.size)) if parts is None else parts
    sigma = sigma_of_batch_means(between[batches.last], within[batches.last], size)
    with np.errstate(invalid="ignore", divide="ignore"):
        of_mean = np.where(sigma > 0, means / sigma, np.nan)
    return OfBatches(batches, of_mean, sigma, Parts(float(between[-1]), float(within[-1])))


def _quantile(
    p: float,
    centre: FloatArray,
    distribution: Callable[[FloatArray, FloatArray], FloatArray],
    inverse: Callable[[float, FloatArray], FloatArray],
) -> FloatArray:
    """Return the smallest count k with P(count ≤ k) at least p; at most p lie below it."""
    count = np.ceil(inverse(p, centre))
    one_less = np.maximum(count - 1, 0)
    return np.where(distribution(one_less, centre) >= p, one_less, count)


def _dispersion(z: FloatArray, in_baseline: BoolArray, phase: IntArray) -> FloatArray:
    """Return sigma of the standardised points from the moving ranges of the baseline, by phase."""
    after = np.zeros_like(in_baseline)
    after[1:] = in_baseline[:-1]
    return by_phase(moving_ranges(z, phase), in_baseline & after, phase, sigma_of_moving_ranges)


def _sum(found: FloatArray) -> float:
    return float(found.sum()) if found.size else float("nan")
