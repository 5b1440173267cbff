"""Where is a recipe's level now, if it may wander over the months, and where will its next batch lie?

Each batch's level is the recipe's at that time plus its own difference; the recipe's wanders as a random walk in time,
by how much is learnt from the batches: a steady recipe is expected about the mean of all, one that climbs about its
last few, and the longer ago the last batch the less surely. Source of the filter: Kalman 1960, J. Basic Eng. 82, 35–45,
for the local level model (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Course", "Level", "levels"]

Floats = NDArray[np.float64]

_MONTH = 30.4
# How far a recipe's level may wander in a month and how far batches lie from it, as standard deviations on the log
# scale, with what is believed of wandering before any batch is read. Common practice, no source; the batches decide.
_WANDER = np.array([0.0, 0.02, 0.04, 0.08, 0.15, 0.3])
_WANDER_BELIEF = np.array([0.05, 0.05, 0.15, 0.25, 0.3, 0.2])
_APART = np.array([0.05, 0.07, 0.1, 0.14, 0.2, 0.28, 0.4, 0.56])


@dataclass(frozen=True, eq=False)
class Course:
    """The batches of a recipe in the order of time, shape (n,): when [d], their levels, and the variances of these."""

    days: Floats
    level: Floats
    variance: Floats


@dataclass(frozen=True, eq=False)
class Level:
    """What is known of a recipe's level after its last batch, at ``day``.

    ``chance`` (k,) of each way to wander and to differ, with the level's ``mean`` (k,) and ``variance`` (k,) in it,
    ``wander`` (k,) the variance that each day adds and ``apart`` (k,) that of one batch.
    """

    day: float
    chance: Floats
    mean: Floats
    variance: Floats
    wander: Floats
    apart: Floats

    def next_batch(self, day: float | None = None) -> tuple[float, float]:
        """Return the mean and variance of the next batch's level, on a day or right after the last."""
        ahead = 0.0 if day is None else max(day - self.day, 0.0)
        middle = float(self.chance @ self.mean)
        spread = self.variance + self.wander * ahead + self.apart + (self.mean - middle) ** 2
        return middle, float(self.chance @ spread)


def levels(courses: Sequence[Course], mean: float, variance: float) -> tuple[Level, ...]:
    """Return where each recipe's level stands; how far batches differ from it is shared by all recipes.

    Parameters
    ----------
    courses : sequence of Course
        One for each recipe, each with a batch or more.
    mean, variance : float
        Of a recipe's level before its first batch.
    """
    wander, apart = (grid.ravel() for grid in np.meshgrid(_WANDER**2 / _MONTH, _APART**2, indexing="ij"))
    filtered = [_filtered(course, mean, variance, wander, apart) for course in courses]
    shape = len(_WANDER), len(_APART)
    likely = [one[0].reshape(shape) + np.log(_WANDER_BELIEF)[:, None] for one in filtered]
    by_apart = sum(np.logaddexp.reduce(one, axis=0) for one in likely)
    found = []
    for course, one, (_, middle, spread) in zip(courses, likely, filtered, strict=True):
        joint = one - np.logaddexp.reduce(one, axis=0) + by_apart
        chance = np.exp(joint - joint.max()).ravel()
        found.append(Level(float(course.days[-1]), chance / chance.sum(), middle, spread, wander, apart))
    return tuple(found)


def _filtered(
    course: Course, mean: float, variance: float, wander: Floats, apart: Floats
) -> tuple[Floats, Floats, Floats]:
    """Return the log likelihood of each way to wander and differ, and the level's mean and variance at the end."""
    middle, spread = np.full(len(wander), mean), np.full(len(wander), variance)
    log_likelihood = np.zeros(len(wander))
    before = course.days[0]
    for day, seen, unsure in zip(course.days, course.level, course.variance, strict=True):
        spread = spread + wander * max(day - before, 0.0)
        total = spread + apart + unsure
        away = seen - middle
        log_likelihood -= 0.5 * (np.log(2 * np.pi * total) + away**2 / total)
        middle, spread, before = middle + spread / total * away, spread * (apart + unsure) / total, day
    return log_likelihood, middle, spread
