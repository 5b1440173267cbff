"""When was a meter off its course, by how much, and when did it come back?

The course of the checks says how the meter behaves now and since when. What it was before is asked of the checks from
before, and so on back to its first level, from which everything is counted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.findings.meter_course import FEWEST_CHECKS, Course, State, course

__all__ = ["Episode", "begun_by", "episodes", "excess_of"]

Floats = NDArray[np.float64]

_ESTIMATE = 28.0
"""How far later checks may move the beginning of an episode [days] (common practice, no source)."""


@dataclass(frozen=True)
class Episode:
    """A stretch of time in which a meter was off its first level.

    ``begins`` and ``until`` are days after the first check, ``until`` infinite where it still is off: else it is the
    first check that shows another level. ``starts`` is by how much it was off at the beginning [unit of the deviation],
    ``per_week`` how fast that grew. ``state`` is drifting or shifted.
    """

    state: State
    begins: float
    until: float
    starts: float
    per_week: float

    def excess(self, days: Floats) -> Floats:
        """Return by how much the meter was off at each time, shape (n,), 0 outside the episode.

        A drift that is not known to have ended is taken to go on at its rate.
        """
        inside = (days >= self.begins) & (days < self.until)
        return np.where(inside, self.starts + self.per_week * (days - self.begins) / 7, 0.0)


def excess_of(found: Sequence[Episode], days: Floats) -> Floats:
    """Return by how much a meter was off its first level at each time, shape (n,)."""
    return np.asarray(sum((one.excess(days) for one in found), np.zeros(days.size)), dtype=np.float64)


def begun_by(found: Sequence[Episode], day: float) -> tuple[Episode, ...]:
    """Return the episodes that had begun by a day, with what followed them before the meter came back.

    The first one counts a few weeks beyond: when an episode began is an estimate, which later checks move.
    """
    if not found or found[0].begins > day + _ESTIMATE:
        return ()
    last = max((place for place, one in enumerate(found) if one.begins <= day), default=0)
    while last + 1 < len(found) and found[last + 1].begins <= found[last].until:
        last += 1
    return tuple(found[: last + 1])


def episodes(days: Floats, deviations: Floats, now: Course) -> tuple[Episode, ...]:
    """Return the episodes in which a meter was off its first level, in order of time.

    Parameters
    ----------
    days, deviations : array, shape (n,)
        As for ``course``.
    now : Course
        Its answer for all the checks.
    """
    met = [(now, float(days[-1]), math.inf)]
    while math.isfinite(met[-1][0].since):
        until = met[-1][0].since
        earlier = days < until
        if int(earlier.sum()) < FEWEST_CHECKS:
            break
        met.append((course(days[earlier], deviations[earlier]), float(days[earlier][-1]), until))
    moved = [one for one in met if math.isfinite(one[0].since)]
    if not moved:
        return ()
    first_level = moved[-1][0].before
    found = (_episode(one, last, until, first_level) for one, last, until in reversed(moved))
    return tuple(one for one in found if one is not None)


def _episode(one: Course, last: float, until: float, first_level: float) -> Episode | None:
    """Return the episode of a course whose last check was at ``last``; None where the meter had come back."""
    if one.state is State.SHIFTED:
        return Episode(State.SHIFTED, one.since, until, one.level - first_level, 0.0)
    if one.state is State.DRIFTING:
        grown = one.per_week * (last - one.since) / 7
        return Episode(State.DRIFTING, one.since, until, one.level - grown - first_level, one.per_week)
    return None
