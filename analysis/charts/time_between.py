"""Does a rare fault come more often than it did, told by what lies between one and the next?

Between rare faults there are good packs or runs to count (geometric), or time (exponential). Neither is anywhere near
normal: three-sigma limits have no lower limit, where the harm shows, and pass their upper limit 18 times in 1,000.
Probability limits are used instead, and distances in sigmas are those of a normal with the same tail.

Source: Kaminsky, Benneyan, Davis and Burke 1992, "Statistical control charts based on a geometric distribution",
J. Qual. Technol. 24; Chan, Xie and Goh 2000, "Cumulative quantity control charts for monitoring production processes",
Int. J. Prod. Res. 38.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from analysis.charts.arrays import FloatArray, as_flags, as_phases, as_series
from analysis.charts.chart import Chart, small_baseline
from analysis.charts.counts import TAIL
from analysis.charts.individuals import mean_of
from analysis.charts.phases import by_phase
from analysis.charts.run_rules import FIRST_RULES, run_signals

__all__ = ["good_between_faults", "time_between_faults"]

_SMALLEST = 1e-300


def good_between_faults(
    gaps: ArrayLike,
    *,
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    tail: float = TAIL,
) -> Chart:
    """Return the chart of how many were good between one fault and the next (g chart).

    Parameters
    ----------
    gaps : array, shape (n,)
        Good packs (or runs) before each fault since the last one, from 0; NaN where that is not known.
    baseline, phases, rules
        As for ``individuals``, one entry a fault.
    tail : float
        The share of steady gaps beyond each limit, at most.

    Returns
    -------
    Chart
        ``centre`` is the median; a gap below ``lower`` says that faults come more often. Where even a gap of 0 is not
        rare enough, ``lower`` is 0 and cannot be passed: then only runs on a side can tell.

    Raises
    ------
    ValueError
        If a gap is negative or no whole number, or ``tail`` does not lie between 0 and 0.5.
    """
    count = as_series(gaps, "gaps")
    present = count[~np.isnan(count)]
    if (present < 0).any() or (present != np.round(present)).any():
        raise ValueError("gaps must be whole numbers from 0")

    return _chart("good between faults", count, _geometric_quantile, _geometric_beyond, baseline, phases, rules, tail)


def time_between_faults(
    times: ArrayLike,
    *,
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    tail: float = TAIL,
) -> Chart:
    """Return the chart of the time between one fault and the next (t chart).

    Parameters
    ----------
    times : array, shape (n,)
        Time (or volume packed) from each fault to the next, above 0, in one unit; NaN where that is not known.
    baseline, phases, rules, tail
        As for ``good_between_faults``.

    Raises
    ------
    ValueError
        If a time is not above 0, or ``tail`` does not lie between 0 and 0.5.
    """
    series = as_series(times, "times")
    if (series <= 0).any():
        raise ValueError(f"times must be above 0, got {np.nanmin(series):g}")
    return _chart(
        "time between faults",
        series,
        lambda p, mean: -mean * np.log1p(-p),
        lambda x, mean: np.exp(-x / mean),
        baseline,
        phases,
        rules,
        tail,
    )


def _geometric_quantile(p: float, mean: FloatArray) -> FloatArray:
    """Return the smallest gap with P(gap ≤ it) at least p."""
    needed = math.log1p(-p) / np.log(mean / (1 + mean))
    return np.asarray(np.maximum(np.ceil(needed - 1e-9) - 1, 0), dtype=np.float64)


def _geometric_beyond(x: FloatArray, mean: FloatArray) -> FloatArray:
    """Return P(gap > x) and half of P(gap = x)."""
    good = mean / (1 + mean)
    return np.asarray(np.power(good, x) * (1 + good) / 2, dtype=np.float64)


def _chart(
    statistic: str,
    series: FloatArray,
    quantile: Callable[[float, FloatArray], FloatArray],
    share_beyond: Callable[[FloatArray, FloatArray], FloatArray],
    baseline: ArrayLike | None,
    phases: ArrayLike | None,
    rules: Iterable[str],
    tail: float,
) -> Chart:
    if not 0 < tail < 0.5:
        raise ValueError(f"tail must lie between 0 and 0.5, got {tail}")
    n = series.size
    in_baseline = as_flags(baseline, n, "baseline") & ~np.isnan(series)
    phase = as_phases(phases, n)
    mean = by_phase(series, in_baseline, phase, mean_of)
    with np.errstate(invalid="ignore", divide="ignore"):
        lower, middle, upper = (quantile(p, mean) for p in (tail, 0.5, 1 - tail))
        z = -ndtri(np.maximum(share_beyond(series, mean), _SMALLEST))
    return Chart(
        statistic=statistic,
        values=series,
        centre=middle,
        lower=lower,
        upper=upper,
        sigma=np.ones(n),
        z=z,
        scale="linear",
        baseline=in_baseline,
        phase=phase,
        signals=run_signals(z, rules, phases=phase, above=series > upper, below=series < lower),
        cautions=small_baseline(int(np.count_nonzero(in_baseline)), "faults"),
    )
