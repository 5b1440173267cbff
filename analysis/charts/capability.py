"""Do runs keep within their targets, and how sure is that?

An index of 1 is where the limit lies three sigmas from the centre. Cp and Cpk take sigma from moving ranges (what the
process could do), Pp and Ppk from the standard deviation over all runs (what it did). On the log scale the one-sided
index gives the share beyond a limit; an index from the percentiles of a skewed measure stands beside it, and one made
as if such a measure were normal is not offered.

Nothing is said of a series that is not stable: there is no single centre and spread to say it of. Cp and Pp want both
limits.

Source: ISO 22514-2:2017, for the percentile index; Kotz and Johnson 1993, "Process Capability Indices", for the
intervals: chi-squared for Cp, non-central t for a one-sided index; NIST/SEMATECH e-Handbook of Statistical Methods,
6.1.6.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.charts.arrays import FloatArray, to_scale
from analysis.charts.capability_intervals import (
    Index,
    freedom_of_moving_ranges,
    one_sided_interval,
    percentile_interval,
    share_beyond,
    spread_interval,
)
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
    chart: Chart, *, lower: float | None = None, upper: float | None = None, level: float = 0.95
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

    Raises
    ------
    ValueError
        If there is no limit, or ``lower`` is not below ``upper``.
    """
    if lower is None and upper is None:
        raise ValueError("capability: lower or upper must be given, got neither")
    if lower is not None and upper is not None and not lower < upper:
        raise ValueError(f"capability: lower must be below upper, got {lower} and {upper}")
    here = chart.phase == chart.phase[-1] if chart.n else np.zeros(0, dtype=np.bool_)
    values = chart.values[here & ~np.isnan(chart.values)]
    why_not = _why_not(chart, values, here)
    if why_not is not None:
        return Capability(values.size, None, None, None, None, None, math.nan, math.nan, why_not)
    charted = to_scale(values, chart.scale)
    log = chart.scale == "log"
    low, high = _on_scale(lower, log), _on_scale(upper, log)
    n, mean = values.size, float(charted.mean())
    within, overall = float(chart.sigma[-1]), float(charted.std(ddof=1))
    freedom = freedom_of_moving_ranges(n)
    return Capability(
        runs=n,
        cp=_two_sided(low, high, within, freedom, level),
        cpk=_nearer(mean, within, low, high, n, freedom, level),
        pp=_two_sided(low, high, overall, n - 1, level),
        ppk=_nearer(mean, overall, low, high, n, n - 1, level),
        percentile=percentile_interval(mean, overall, n, lower, upper, level) if log else None,
        beyond_lower=share_beyond(mean, overall, low, below=True),
        beyond_upper=share_beyond(mean, overall, high, below=False),
    )


def _why_not(chart: Chart, values: FloatArray, here: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> str | None:
    if values.size < FEWEST_RUNS:
        return f"only {values.size} runs: capability wants at least {FEWEST_RUNS}"
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
