"""What are the mean and spread of readings of which some are only known to lie below or above a meter's limit?

Normal maximum likelihood in which a censored reading counts by the probability of lying beyond its own limit: neither
the limit, nor half of it, nor nothing is put in its place. Groups (the cans of a run) may each have their own mean and
share one spread.

Source: Tobin 1958, "Estimation of relationships for limited dependent variables", Econometrica 26; Olsen 1978, "Note on
the uniqueness of the maximum likelihood estimator for the Tobit model", Econometrica 46: in the mean over sigma and one
over sigma the log-likelihood has a single top.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import log_ndtr

from analysis.charts.arrays import BoolArray, FloatArray, IntArray, as_series

__all__ = ["CensoredMeans", "as_censoring", "censored_means"]

_STEPS = 100
_CLOSE = 1e-10
_LOG_ROOT_TWO_PI = math.log(2 * math.pi) / 2


@dataclass(frozen=True, eq=False)
class CensoredMeans:
    """The groups' means and the spread that they share.

    ``means`` has shape (groups,); ``bound`` is -1 where a group is known only to lie below its ``means`` entry (all its
    readings were below a limit: the entry is the lowest of them), 1 where only above, 0 where the mean was estimated.
    ``sigma`` is NaN where no group has two readings to tell it. ``share_censored`` is the share of all readings.
    """

    means: FloatArray
    bound: NDArray[np.int8]
    sigma: float
    log_likelihood: float
    share_censored: float


def censored_means(values: ArrayLike, censored: ArrayLike, groups: ArrayLike | None = None) -> CensoredMeans:
    """Return the mean of each group and the spread within them, by maximum likelihood.

    Parameters
    ----------
    values : array, shape (n,)
        The readings on the scale on which they are normal; where censored, the limit.
    censored : array of int, shape (n,)
        -1 where the reading is below its value, 1 where above, 0 where it is the value itself.
    groups : array of int, shape (n,), optional
        Group of each reading, from 0 without a number left out; one group without it.

    Raises
    ------
    ValueError
        If the shapes differ, there is no reading, a reading is missing, or a group has none.
    """
    y = as_series(values)
    sign = as_censoring(censored, y.size)
    group = np.zeros(y.size, dtype=np.int64) if groups is None else np.asarray(groups, dtype=np.int64)
    if not y.size or np.isnan(y).any():
        raise ValueError("values must be at least one reading, none of them missing (NaN)")
    size = np.bincount(group)
    if group.size != y.size or (size == 0).any():
        raise ValueError(f"groups must number {y.size} readings from 0 without a gap, got {group.size} numbers")
    below, above = (np.bincount(group, sign == side) == size for side in (-1, 1))
    bound = np.where(below, -1, np.where(above, 1, 0)).astype(np.int8)
    means = _bounds(y, group, size.size, above)
    known = bound[group] == 0
    sigma, log_likelihood = float("nan"), float("nan")
    if known.any():
        number = np.cumsum(bound == 0) - 1
        fit = _fit(y[known], sign[known], number[group[known]])
        means[bound == 0], sigma, log_likelihood = fit
    return CensoredMeans(means, bound, sigma, log_likelihood, float(np.mean(sign != 0)))


def as_censoring(censored: ArrayLike | None, n: int) -> NDArray[np.int8]:
    """Return -1, 0 or 1 a reading, shape (n,); all 0 where nothing was given."""
    if censored is None:
        return np.zeros(n, dtype=np.int8)
    sign = np.asarray(censored)
    if sign.shape != (n,) or not np.isin(sign, (-1, 0, 1)).all():
        raise ValueError(f"censored must be {n} numbers among -1, 0 and 1, got shape {sign.shape}")
    return sign.astype(np.int8)


def _bounds(y: FloatArray, group: IntArray, groups: int, above: BoolArray) -> FloatArray:
    """Return the tightest limit of each group: the lowest, or the highest where its readings are all above theirs."""
    lowest, highest = np.full(groups, np.inf), np.full(groups, -np.inf)
    np.minimum.at(lowest, group, y)
    np.maximum.at(highest, group, y)
    return np.where(above, highest, lowest)


def _fit(y: FloatArray, sign: NDArray[np.int8], group: IntArray) -> tuple[FloatArray, float, float]:
    size = np.bincount(group)
    means = np.bincount(group, y) / size
    spread = math.sqrt(float(np.mean((y - means[group]) ** 2)))
    if not (sign != 0).any():
        log_likelihood = -y.size * (math.log(spread) + _LOG_ROOT_TWO_PI + 0.5) if spread > 0 else math.inf
        return means, spread if (size > 1).any() else math.nan, log_likelihood
    exact = np.bincount(group, sign == 0)
    if not _spread_is_known(y, sign, group, exact):
        return means, math.nan, math.nan
    return _newton(y, sign, group, means, spread)


def _spread_is_known(y: FloatArray, sign: NDArray[np.int8], group: IntArray, exact: IntArray) -> bool:
    """Return whether some group has two different readings that are not censored."""
    known = sign == 0
    low, high = np.full(exact.size, np.inf), np.full(exact.size, -np.inf)
    np.minimum.at(low, group[known], y[known])
    np.maximum.at(high, group[known], y[known])
    return bool((high > low).any())


def _newton(
    y: FloatArray, sign: NDArray[np.int8], group: IntArray, means: FloatArray, spread: float
) -> tuple[FloatArray, float, float]:
    """Climb in (mean over sigma of each group, one over sigma); the groups' block of the curvature is diagonal."""
    theta = 1 / spread
    gamma = means * theta
    value = _log_likelihood(y, sign, group, gamma, theta)
    for _ in range(_STEPS):
        step_gamma, step_theta = _newton_step(y, sign, group, gamma, theta)
        share = 1.0
        while True:
            trial_gamma, trial_theta = gamma + share * step_gamma, theta + share * step_theta
            trial = _log_likelihood(y, sign, group, trial_gamma, trial_theta) if trial_theta > 0 else -math.inf
            if trial >= value or share < _CLOSE:
                break
            share /= 2
        gained = trial - value
        gamma, theta, value = trial_gamma, trial_theta, trial
        if gained < _CLOSE * (abs(value) + 1) and share == 1.0:
            break
    return gamma / theta, 1 / theta, value


def _log_likelihood(y: FloatArray, sign: NDArray[np.int8], group: IntArray, gamma: FloatArray, theta: float) -> float:
    u = theta * y - gamma[group]
    exact = math.log(theta) - u**2 / 2 - _LOG_ROOT_TWO_PI
    return float(np.where(sign == 0, exact, log_ndtr(-sign * u)).sum())


def _newton_step(
    y: FloatArray, sign: NDArray[np.int8], group: IntArray, gamma: FloatArray, theta: float
) -> tuple[FloatArray, float]:
    u = theta * y - gamma[group]
    side = -sign.astype(np.float64)
    ratio = np.exp(-(u**2) / 2 - _LOG_ROOT_TWO_PI - log_ndtr(side * u))
    slope = np.where(sign == 0, -u, side * ratio)
    curve = np.where(sign == 0, -1.0, -ratio * (side * u + ratio))
    exact = np.count_nonzero(sign == 0)
    gradient_gamma = -np.bincount(group, slope)
    gradient_theta = float(slope @ y) + exact / theta
    within = np.bincount(group, curve)
    across = -np.bincount(group, curve * y)
    corner = float(curve @ y**2) - exact / theta**2
    step_theta = -(gradient_theta - float((across / within) @ gradient_gamma)) / (
        corner - float(across**2 @ (1 / within))
    )
    return -(gradient_gamma + across * step_theta) / within, step_theta
