"""Do runs keep within their targets, and how sure is that?

An index of 1 is where the limit lies three sigmas from the centre. Cp and Cpk take sigma from moving ranges (what the
process could do), Pp and Ppk from the standard deviation over all runs (what it did). On the log scale the one-sided
index gives the share beyond a limit; an index from the percentiles of a skewed measure stands beside it, and one made
as if such a measure were normal is not offered.

Nothing is said of a series that is not stable: there is no single centre and spread to say it of. Cp and Pp want both
limits. A run that is known only to lie beyond a meter's range counts by that and not as a value: centre and spread are
then the censored maximum likelihood, the intervals rest on the runs that are known, and Cp and Cpk are not offered,
because a moving range of such runs says nothing. Where a batch has several runs, the intervals count batches.

Source: ISO 22514-2:2017, for the percentile index; Kotz and Johnson 1993, "Process Capability Indices", for the
intervals: chi-squared for Cp, non-central t for a one-sided index; NIST/SEMATECH e-Handbook of Statistical Methods,
6.1.6.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.charts.arrays import BoolArray, FloatArray, to_scale
from analysis.charts.capability_intervals import (
    Index,
    freedom_of_moving_ranges,
    one_sided_interval,
    percentile_interval,
    share_beyond,
    spread_interval,
)
from analysis.charts.censored import as_censoring, censored_means
from analysis.charts.chart import Chart

__all__ = ["Capability", "capability"]

FEWEST_RUNS = 10


@dataclass(frozen=True)
class Capability:
    """Indices with their intervals; each is None where it cannot be said.

    ``cp``, ``pp``: the width between both limits over six sigmas. ``cpk``, ``ppk``: the distance of the nearer limit
    over three sigmas. ``percentile``: the same in the measure's own unit from the 0.135, 50 and 99.865 percentiles, on
    the log scale only. ``beyond_lower`` and ``beyond_upper`` are the shares of runs expected beyond each limit, NaN
    where there is no limit. ``why_not`` says why there is no answer at all.
    """

    runs: int
    cp: Index | None
    cpk: Index | None
    pp: Index | None
    ppk: Index | None
    percentile: Index | None
    beyond_lower: float
    beyond_upper: float
    why_not: str | None = None


def capability(
    chart: Chart,
    *,
    lower: float | None = None,
    upper: float | None = None,
    level: float = 0.95,
    censored: ArrayLike | None = None,
) -> Capability:
    """Return how the runs of the last phase keep within their limits.

    Parameters
    ----------
    chart : Chart
        The chart of the values, as from ``individuals``: its scale and its signals count.
    lower, upper : float, optional
        The targets' limits [measure's unit]; at least one.
    level : float
        Confidence of the intervals.
    censored : array of int, shape (n,), optional
        -1 where a run is known only to lie below its value, 1 where above, 0 where it is the value itself.

    Raises
    ------
    ValueError
        If there is no limit, ``lower`` is not below ``upper``, or ``censored`` has another shape.
    """
    if lower is None and upper is None:
        raise ValueError("capability: lower or upper must be given, got neither")
    if lower is not None and upper is not None and not lower < upper:
        raise ValueError(f"capability: lower must be below upper, got {lower} and {upper}")
    here = chart.phase == chart.phase[-1] if chart.n else np.zeros(0, dtype=np.bool_)
    used = here & ~np.isnan(chart.values)
    values = chart.values[used]
    sign = np.zeros(values.size, dtype=np.int8) if censored is None else as_censoring(censored, chart.n)[used]
    why_not = _why_not(chart, values, sign, here, _counting(chart, used))
    if why_not is not None:
        return Capability(values.size, None, None, None, None, None, math.nan, math.nan, why_not)
    charted = to_scale(values, chart.scale)
    log = chart.scale == "log"
    low, high = _on_scale(lower, log), _on_scale(upper, log)
    n, known = _counting(chart, used), _counting(chart, used, sign == 0)
    all_known = not sign.any()
    mean, overall = _mean_and_spread(charted, sign)
    within, freedom = float(chart.sigma[-1]), freedom_of_moving_ranges(n)
    return Capability(
        runs=values.size,
        cp=_two_sided(low, high, within, freedom, level) if all_known else None,
        cpk=_nearer(mean, within, low, high, n, freedom, level) if all_known else None,
        pp=_two_sided(low, high, overall, known - 1, level),
        ppk=_nearer(mean, overall, low, high, known, known - 1, level),
        percentile=percentile_interval(mean, overall, known, lower, upper, level) if log else None,
        beyond_lower=share_beyond(mean, overall, low, below=True),
        beyond_upper=share_beyond(mean, overall, high, below=False),
    )


def _mean_and_spread(charted: FloatArray, sign: NDArray[np.int8]) -> tuple[float, float]:
    """Return mean and standard deviation over all runs, by censored maximum likelihood where some are censored."""
    if not sign.any():
        return float(charted.mean()), float(charted.std(ddof=1))
    fit = censored_means(charted, sign)
    return float(fit.means[0]), fit.sigma * math.sqrt(charted.size / (charted.size - 1))


def _counting(chart: Chart, used: BoolArray, known: BoolArray | None = None) -> int:
    """Return how many used runs count, or how many batches where one has several runs: those resemble each other."""
    places = np.flatnonzero(used) if known is None else np.flatnonzero(used)[known]
    if chart.of_batches is None:
        return places.size
    return np.unique(chart.of_batches.batches.of_run[places]).size


def _why_not(chart: Chart, values: FloatArray, sign: NDArray[np.int8], here: BoolArray, counting: int) -> str | None:
    if counting < FEWEST_RUNS:
        counted = "runs" if chart.of_batches is None else "batches"
        return f"only {counting} {counted}: capability wants at least {FEWEST_RUNS}"
    known = int(np.count_nonzero(sign == 0))
    if known < max(FEWEST_RUNS, values.size / 2):
        return f"only {known} of {values.size} runs lie within the meter’s range: too few to tell centre and spread"
    if not chart.sigma[-1] > 0:
        return "the runs' spread is not known"
    signals = int(np.count_nonzero(here[chart.signals.points]))
    if signals:
        return f"the chart is not stable: {signals} of its points give a signal"
    return None


def _on_scale(limit: float | None, log: bool) -> float | None:
    """Return a limit as it is charted; a lower limit of 0 or less is none on the log scale."""
    if limit is None or not log:
        return limit
    return math.log(limit) if limit > 0 else None


def _two_sided(low: float | None, high: float | None, sigma: float, freedom: float, level: float) -> Index | None:
    if low is None or high is None:
        return None
    return spread_interval((high - low) / (6 * sigma), freedom, level)


def _nearer(
    mean: float, sigma: float, low: float | None, high: float | None, n: int, freedom: float, level: float
) -> Index | None:
    sides = [(mean - low) / (3 * sigma)] if low is not None else []
    sides += [(high - mean) / (3 * sigma)] if high is not None else []
    return one_sided_interval(min(sides), n, freedom, level) if sides else None
