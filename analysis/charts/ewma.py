"""Has the level moved a little and stayed: does the running mean that forgets slowly leave its limits?

Limits are exact for each run: narrow at the start, where the running mean has little behind it yet.

Source: Roberts 1959, "Control chart tests based on geometric moving averages", Technometrics 1; Lucas and Saccucci
1990, "Exponentially weighted moving average control schemes", Technometrics 32; NIST/SEMATECH e-Handbook, 6.3.2.4.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from analysis.charts.arrays import FloatArray, IntArray, Scale, as_phases, as_series, to_scale
from analysis.charts.chart import Chart, draw_up
from analysis.charts.ewma_run_length import check_ewma
from analysis.charts.individuals import individuals

__all__ = ["ewma"]


def ewma(
    values: ArrayLike,
    *,
    weight: float = 0.2,
    width: float = 2.8593,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    centre: float | None = None,
    sigma: float | None = None,
    steady_limits: bool = False,
) -> Chart:
    """Return the chart of the exponentially weighted moving average.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; a missing run (NaN) leaves the average where it was.
    weight : float
        Weight of the newest run, above 0 and at most 1.
    width : float
        Distance of the limits in sigmas of the average. The default gives, at a weight of 0.2 and steady limits, one
        false alarm in 370 runs.
    scale, baseline, phases, centre, sigma
        As for ``individuals``; the average starts anew at the centre with each phase.
    steady_limits : bool
        Whether to use the limits that the exact ones come to in the end, from the first run on.

    Returns
    -------
    Chart
        ``sigma`` and ``z`` are those of the average. The rule is the limit alone: neighbouring averages are alike by
        making, so that runs and trends among them say nothing.

    Raises
    ------
    ValueError
        If ``weight`` or ``width`` is out of range, and as for ``individuals``.
    """
    check_ewma(weight, width)
    plain = individuals(
        values, scale=scale, baseline=baseline, phases=phases, centre=centre, sigma=sigma, rules=()
    ).values
    charted = to_scale(as_series(values), scale)
    middle = to_scale(plain.centre, scale)
    phase = as_phases(phases, charted.size)
    average, seen = _averages(charted, middle, phase, weight)
    share = np.ones(charted.size) if steady_limits else 1 - (1 - weight) ** (2.0 * seen)
    spread = plain.sigma * math.sqrt(weight / (2 - weight)) * np.sqrt(share)
    return draw_up(
        "exponentially weighted moving average",
        np.where(np.isnan(charted), np.nan, average),
        middle,
        np.where(np.isnan(charted), np.nan, spread),
        scale=scale,
        baseline=plain.baseline,
        phase=phase,
        width=width,
        cautions=plain.cautions,
    )


def _averages(charted: FloatArray, middle: FloatArray, phase: IntArray, weight: float) -> tuple[FloatArray, IntArray]:
    """Return the average after each run and the number of runs of its phase that are in it."""
    averages, counts = np.empty(charted.size), np.empty(charted.size, dtype=np.int64)
    average, count, current = 0.0, 0, None
    for i, (value, start, number) in enumerate(zip(charted.tolist(), middle.tolist(), phase.tolist(), strict=True)):
        if number != current:
            average, count, current = start, 0, number
        if not math.isnan(value):
            average, count = weight * value + (1 - weight) * average, count + 1
        averages[i], counts[i] = average, count
    return averages, counts
