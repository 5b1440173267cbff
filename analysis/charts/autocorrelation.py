"""Does a run remember the run before it, what does that do to the limits, and what is left without the memory?

Limits from moving ranges take neighbours for unrelated. Where they are alike, the limits are too narrow and alarm
falsely; the chart to read is then the one of what is left after the series' own memory (its one-step surprises).

Source: Alwan and Roberts 1988, "Time-series modeling for statistical process control", J. Bus. Econ. Stat. 6; the exact
likelihood of a first-order autoregression with gaps as in Jones 1980, Technometrics 22.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar
from scipy.special import ndtr, ndtri

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, Scale, as_flags, as_phases, as_series, to_scale
from analysis.charts.batch_individuals import sigma_of_batch_means, sigma_of_runs
from analysis.charts.batches import Batches, OfBatches, Parts, as_batches, batch_means, parts_within
from analysis.charts.chart import Chart, draw_up, small_baseline
from analysis.charts.run_rules import FIRST_RULES

__all__ = ["Memory", "alarm_rate_with_memory", "lag_one", "memory", "residual_chart"]

FEWEST_RUNS = 8
_LARGEST = 0.999
_LEFT = "what is left after the memory"


@dataclass(frozen=True)
class Memory:
    """The memory of a series from one run to the next.

    ``correlation`` is the maximum-likelihood lag-one correlation with its 95 % interval ``low`` to ``high``; ``mean``
    is the level, ``sigma`` the standard deviation of what is left, both on the series' scale. ``alarms`` is the share
    of steady runs that limits from moving ranges would put outside (0.0027 without memory).
    """

    correlation: float
    low: float
    high: float
    mean: float
    sigma: float
    runs: int

    @property
    def matters(self) -> bool:
        """True where the interval of the correlation lies above 0."""
        return self.low > 0

    @property
    def alarms(self) -> float:
        """The share of steady runs outside limits from moving ranges."""
        return alarm_rate_with_memory(self.correlation)


def alarm_rate_with_memory(correlation: float) -> float:
    """Return the share of steady runs outside three-sigma limits from moving ranges, shape ().

    Neighbours that correlate by r lie sqrt(1 - r) times as far apart as unrelated ones.

    Raises
    ------
    ValueError
        If ``correlation`` does not lie between -1 and 1.
    """
    if not -1 < correlation < 1:
        raise ValueError(f"correlation must lie between -1 and 1, got {correlation}")
    return float(2 * ndtr(-3 * math.sqrt(1 - correlation)))


def lag_one(values: ArrayLike) -> float:
    """Return the lag-one autocorrelation of a series, without pairs across a gap; NaN for fewer than three runs."""
    series = as_series(values)
    centred = series - np.nanmean(series) if (~np.isnan(series)).any() else series
    squares = centred[~np.isnan(centred)] ** 2
    products = centred[1:] * centred[:-1]
    if squares.size < 3 or squares.sum() == 0:
        return float("nan")
    return float(np.nansum(products) / squares.sum())


def memory(values: ArrayLike, *, scale: Scale = "linear") -> Memory | None:
    """Return the first-order autoregression of a series by exact maximum likelihood.

    Parameters
    ----------
    values : array, shape (n,)
        One value a run, in order, in the measure's unit; a missing run (NaN) lengthens the step across it.
    scale : {"log", "linear"}
        Scale on which the runs are taken.

    Returns
    -------
    Memory or None
        None where there are fewer than eight runs or they are all alike.
    """
    charted = to_scale(as_series(values), scale)
    at = np.flatnonzero(~np.isnan(charted))
    found = charted[at]
    if found.size < FEWEST_RUNS or np.ptp(found) == 0:
        return None
    steps = np.diff(at)
    best = minimize_scalar(
        lambda r: _deviance(r, found, steps), bounds=(-_LARGEST, _LARGEST), method="bounded", options={"xatol": 1e-10}
    )
    correlation = float(best.x)
    mean, sum_of_squares, _ = _profile(correlation, found, steps)
    # its variance is (1 - r²)/n, so that on the scale of its arc sine the interval is everywhere as wide
    angle, reach = math.asin(correlation), float(ndtri(0.975)) / math.sqrt(found.size)
    low, high = math.sin(max(angle - reach, -math.pi / 2)), math.sin(min(angle + reach, math.pi / 2))
    sigma = math.sqrt(sum_of_squares / found.size)
    return Memory(correlation, low, high, mean, sigma, found.size)


def residual_chart(
    values: ArrayLike,
    *,
    scale: Scale = "linear",
    baseline: ArrayLike | None = None,
    phases: ArrayLike | None = None,
    rules: Iterable[str] = FIRST_RULES,
    batches: ArrayLike | None = None,
) -> Chart | None:
    """Return the chart of what each run holds beyond what the runs before it let one expect.

    Parameters
    ----------
    values, scale, baseline, phases, rules
        As for ``individuals``; the memory is that of the baseline.
    batches : array of int, shape (n,), optional
        As for ``batch_individuals``. Where a batch has several runs, the memory is that of batch means, and a run holds
        what its batch does besides its own distance from it.

    Returns
    -------
    Chart or None
        Of one-step surprises on ``scale`` (differences of logs on the log scale), centre 0; the first run is held
        against the mean. None where the baseline is too short to tell the memory.
    """
    charted = to_scale(as_series(values), scale)
    in_baseline = as_flags(baseline, charted.size, "baseline") & ~np.isnan(charted)
    phase = as_phases(phases, charted.size)
    several = as_batches(batches, charted.size, phase)
    if several is not None:
        return _residuals_of_batches(charted, in_baseline, phase, several, rules)
    model = memory(np.where(in_baseline, charted, np.nan))
    if model is None:
        return None
    return draw_up(
        _LEFT,
        _surprises(charted, model),
        np.zeros(charted.size),
        np.full(charted.size, model.sigma),
        baseline=in_baseline,
        phase=phase,
        rules=rules,
        cautions=small_baseline(int(np.count_nonzero(in_baseline))),
    )


def _residuals_of_batches(
    charted: FloatArray, in_baseline: BoolArray, phase: IntArray, batches: Batches, rules: Iterable[str]
) -> Chart | None:
    """Return the chart of what is left where a batch has several runs: its mean's surprise, and each run about it."""
    used, size = batch_means(charted, in_baseline, batches)
    model = memory(used)
    if model is None:
        return None
    means, count = batch_means(charted, np.ones(charted.size, dtype=np.bool_), batches)
    surprise = _surprises(means, model)
    squares, freedom = parts_within(charted, in_baseline, batches)
    sigma = sigma_of_runs(model.sigma, math.sqrt(squares / freedom) if freedom else 0.0, size)
    within = min(math.sqrt(squares / freedom) if freedom else 0.0, sigma)
    between = math.sqrt(sigma**2 - within**2)
    of_mean = sigma_of_batch_means(np.full(size.size, between), np.full(size.size, within), count)
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where(of_mean > 0, surprise / of_mean, np.nan)
    return draw_up(
        _LEFT,
        charted - means[batches.of_run] + surprise[batches.of_run],
        np.zeros(charted.size),
        np.full(charted.size, sigma),
        baseline=in_baseline,
        phase=phase,
        rules=rules,
        cautions=small_baseline(int(np.count_nonzero(size)), "batches"),
        of_batches=OfBatches(batches, z, of_mean, Parts(between, within)),
    )


def _surprises(charted: FloatArray, model: Memory) -> FloatArray:
    """Return what each point holds beyond what the points before it let one expect; NaN where it is missing."""
    surprise = np.full(charted.size, np.nan)
    at = np.flatnonzero(~np.isnan(charted))
    surprise[at] = _standardised_surprises(model.correlation, charted[at] - model.mean, np.diff(at))
    return surprise


def _standardised_surprises(correlation: float, centred: FloatArray, steps: IntArray) -> FloatArray:
    """Return one-step prediction errors, each scaled to the spread of a step of one."""
    carried = np.power(correlation, steps.astype(np.float64))
    first = centred[:1] * math.sqrt(1 - correlation**2)
    later = (centred[1:] - carried * centred[:-1]) / np.sqrt(_growth(correlation, steps))
    return np.concatenate([first, later])


def _growth(correlation: float, steps: IntArray) -> FloatArray:
    """Return the variance of a prediction over so many steps, in units of that over one."""
    return (1 - np.power(correlation**2, steps.astype(np.float64))) / (1 - correlation**2)


def _profile(correlation: float, found: FloatArray, steps: IntArray) -> tuple[float, float, float]:
    """Return the best mean for a correlation, the sum of squared surprises, and the log of the variances' product."""
    carried = np.power(correlation, steps.astype(np.float64))
    growth = np.concatenate([[1 / (1 - correlation**2)], _growth(correlation, steps)])
    response = np.concatenate([found[:1], found[1:] - carried * found[:-1]]) / np.sqrt(growth)
    weight = np.concatenate([[1.0], 1 - carried]) / np.sqrt(growth)
    mean = float(weight @ response / (weight @ weight))
    left_over = response - mean * weight
    return mean, float(left_over @ left_over), float(np.log(growth).sum())


def _deviance(correlation: float, found: FloatArray, steps: IntArray) -> float:
    _, sum_of_squares, log_growth = _profile(correlation, found, steps)
    return found.size * math.log(sum_of_squares) + log_growth
