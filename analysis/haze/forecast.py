"""Where will a tank's haze be, given its recipe's past and its own readings so far?

The batch's three parameters are drawn from their distribution given the readings: about the mode with heavy tails, each
draw weighted by how well it fits, so that a curve that bends much between two readings is not taken for a straight one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.haze.settling import Prior, Settling, log_haze, slopes

__all__ = ["Forecast", "forecast"]

Floats = NDArray[np.float64]

_DRAWS = 4_000
_TAILS = 5
_SEED = 71
_STEPS = 40
_FEWEST_EFFECTIVE = 400


@dataclass(frozen=True, eq=False)
class Forecast:
    """A tank's haze at ``hours`` (m,) [h since the last rouse or dose].

    ``expected`` (m,) is the median of the beer's haze, ``low`` and ``high`` (m,) the interval at ``level`` of what a
    reading of it will show [EBC]; ``draws`` (d, m) are equally likely courses of the beer's haze itself [EBC].
    """

    hours: Floats
    expected: Floats
    low: Floats
    high: Floats
    level: float
    draws: Floats

    def chance_within(self, lower: float, upper: float) -> Floats:
        """Return how likely the beer's haze lies within a band at each time, shape (m,)."""
        return np.asarray(((self.draws >= lower) & (self.draws <= upper)).mean(axis=0), dtype=np.float64)


def forecast(
    fit: Settling,
    recipe: str,
    hours_read: Floats,
    haze_read: Floats,
    hours: Floats,
    *,
    level: float = 0.9,
    day: float | None = None,
    stretch: float = 1.0,
) -> Forecast:
    """Return the forecast of a tank.

    Parameters
    ----------
    fit : Settling
    recipe : str
    hours_read, haze_read : array, shape (k,)
        The tank's readings since its last rouse or dose [h, EBC]; may be empty.
    hours : array, shape (m,)
        When the haze is asked for [h since the last rouse or dose].
    level : float
        Confidence of the interval.
    day : float, optional
        When the tank began to settle, counted as ``fit_settling``'s days are; right after the last where not given.
    stretch : float
        How much wider the spread is told than the fit makes it, as a brewery's own past misses may call for.

    Raises
    ------
    ValueError
        If ``level`` does not lie between 0 and 1, a reading is not above 0, or ``stretch`` is below 1.
    """
    if not 0 < level < 1:
        raise ValueError(f"forecast: level must lie between 0 and 1, got {level}")
    if len(haze_read) and not np.asarray(haze_read).min() > 0:
        raise ValueError("forecast: haze_read must be above 0")
    if stretch < 1:
        raise ValueError(f"forecast: stretch must be 1 or more, got {stretch}")
    read, logs = np.asarray(hours_read, dtype=np.float64), np.log(np.asarray(haze_read, dtype=np.float64))
    rng = np.random.default_rng(_SEED)
    parameters = _draws(fit, fit.prior(recipe, day), read, logs, rng)
    course = log_haze(parameters, np.asarray(hours, dtype=np.float64)[None, :])
    shown = course + rng.normal(0.0, fit.reading, course.shape)
    middle = np.median(course, axis=0)
    course, shown = (middle + stretch * (each - middle) for each in (course, shown))
    tail = (1 - level) / 2
    low, high = np.exp(np.quantile(shown, [tail, 1 - tail], axis=0))
    return Forecast(np.asarray(hours, float), np.exp(middle), low, high, level, np.exp(course))


def _draws(fit: Settling, prior: Prior, read: Floats, logs: Floats, rng: np.random.Generator) -> Floats:
    """Return equally likely parameters given the readings, shape (d, 3)."""
    mode, covariance = _mode(fit, prior, read, logs)
    root = np.linalg.cholesky(covariance)
    normal = rng.normal(size=(_DRAWS, 3))
    stretch = np.sqrt(_TAILS / rng.chisquare(_TAILS, size=(_DRAWS, 1)))
    standard = normal * stretch
    drawn = mode + standard @ root.T
    proposed = -0.5 * (_TAILS + 3) * np.log1p((standard**2).sum(axis=1) / _TAILS)
    weight = _log_density(fit, prior, read, logs, drawn) - proposed
    share = np.exp(weight - weight.max())
    share /= share.sum()
    if 1 / float(share @ share) < _FEWEST_EFFECTIVE:  # weights that rest on a few draws say less than the mode does
        return np.asarray(mode + normal @ root.T, dtype=np.float64)
    return np.asarray(drawn[rng.choice(_DRAWS, size=_DRAWS, p=share)], dtype=np.float64)


def _mode(fit: Settling, prior: Prior, read: Floats, logs: Floats) -> tuple[Floats, Floats]:
    inverse = np.linalg.inv(prior.covariance)
    at, curvature, value = prior.mean, inverse, -math.inf
    for _ in range(_STEPS):
        slope = slopes(at, read)
        left = logs - log_haze(at, read)
        curvature = slope.T @ slope / fit.reading**2 + inverse
        step = np.linalg.solve(curvature, slope.T @ left / fit.reading**2 - inverse @ (at - prior.mean))
        value = float(_log_density(fit, prior, read, logs, at[None, :])[0])
        size = 1.0
        while size > 1e-3 and _log_density(fit, prior, read, logs, (at + size * step)[None, :])[0] < value:
            size /= 2
        at = at + size * step
        if np.abs(size * step).max() < 1e-8:
            break
    return at, np.linalg.inv(curvature)


def _log_density(fit: Settling, prior: Prior, read: Floats, logs: Floats, at: Floats) -> Floats:
    away = at - prior.mean
    left = logs - log_haze(at, read[None, :])
    fits = (left**2).sum(axis=1) / fit.reading**2
    likely = np.einsum("di,ij,dj->d", away, np.linalg.inv(prior.covariance), away)
    return np.asarray(-0.5 * (fits + likely), dtype=np.float64)
