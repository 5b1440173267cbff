"""Is a meter's deviation steady, drifting or shifted, and since when?

Two ways of going wrong are looked for at every date: a step to a new level, and a bend from a level into a steady climb
or fall. Whether the best of all those dates saves more than chance would is judged by shuffling the checks: in a steady
meter every order of them is as likely as another, whatever their distribution. Where no single move shows, a while in
which the meter was off and after which it came back is looked for; each search has half of the false alarms.

Source: the permutation test of E. J. G. Pitman 1937; the bend as a segmented regression, D. J. Hudson 1966, J. Am.
Stat. Assoc. 61, 1097–1129 (both from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from analysis.charts import change_point
from analysis.findings.meter_excursion import excursion

__all__ = ["FALSE_ALARMS", "FEWEST_CHECKS", "Course", "State", "course"]

FALSE_ALARMS = 0.01
"""How often a steady meter may be said to have moved."""

FEWEST_CHECKS = 8
"""Fewer checks than these say nothing about the course of a meter."""

_SHUFFLES = 1_999
_FEWEST_BESIDE = 3
_DAYS_A_WEEK = 7.0
_SEED = 20_150_401
_MOST_MOVES = 6

Floats = NDArray[np.float64]


class State(StrEnum):
    """How a meter behaves now."""

    STEADY = "steady"
    DRIFTING = "drifting"
    SHIFTED = "shifted"
    TOO_FEW = "too few checks"


@dataclass(frozen=True)
class Course:
    """How a deviation went over time.

    ``level`` is the deviation at the last check and ``low`` to ``high`` its 95 % interval [unit of the deviation].
    ``since`` is when the present course began, ``earliest`` to ``latest`` the 95 % interval of that date [days], NaN
    where it never moved. ``per_week`` is a drift's rate [unit a week], NaN where there is none. ``before`` is the level
    that the meter had at first. ``either_way`` is true where a step and a drift explain the checks about equally well.
    """

    state: State
    level: float
    low: float
    high: float
    since: float = math.nan
    earliest: float = math.nan
    latest: float = math.nan
    per_week: float = math.nan
    per_week_low: float = math.nan
    per_week_high: float = math.nan
    before: float = math.nan
    either_way: bool = False


@dataclass(frozen=True)
class _Best:
    """The best single move: what it saves as a share of the squares, where, and whether it is a bend."""

    chance: float
    place: int
    bend: bool
    either_way: bool


def course(days: Floats, deviations: Floats) -> Course:
    """Return the course of a meter's deviations.

    Parameters
    ----------
    days : array, shape (n,)
        When each check was made [days], rising.
    deviations : array, shape (n,)
        What the meter showed beyond what it should have shown, one a check.

    Returns
    -------
    Course
        ``too few checks`` below ``FEWEST_CHECKS``, with the mean all the same; its interval is NaN for a single check.

    Raises
    ------
    ValueError
        If the arrays differ in shape, hold a missing value or are empty, or the days do not rise.
    """
    if days.shape != deviations.shape or not days.size:
        raise ValueError(f"course: days must be as many as deviations, at least 1, got {days.size}, {deviations.size}")
    if not (np.isfinite(days).all() and np.isfinite(deviations).all() and (np.diff(days) >= 0).all()):
        raise ValueError("course: days must rise, and neither array may hold a missing value")
    if days.size < FEWEST_CHECKS:
        return Course(State.TOO_FEW, *_mean(deviations))
    return _follow(days, deviations, _MOST_MOVES)


def _follow(days: Floats, found: Floats, moves_left: int) -> Course:
    """Follow one move after the other until the last stretch is steady or drifts."""
    best = _best_move(days, found) if moves_left else None
    if best is None:
        return Course(State.STEADY, *_mean(found))
    if best.chance > FALSE_ALARMS / 2:
        away = excursion(found, _FEWEST_BESIDE, FALSE_ALARMS / 2)
        return Course(State.STEADY, *_mean(found)) if away is None else _came_back(days, found, away, moves_left)
    if best.bend:
        return _drift(days, found, best, moves_left)
    return _step(days, found, best.place, best.either_way, moves_left)


def _came_back(days: Floats, found: Floats, away: tuple[int, int], moves_left: int) -> Course:
    """Return the course after a while in which the meter was off."""
    first, back = away
    after = _stretch(days[back:], found[back:], moves_left - 1)
    if not math.isfinite(after.since):
        shift = change_point(found[first:], fewest=_FEWEST_BESIDE)
        assert shift is not None, "an excursion leaves enough checks on both sides of its end"
        after = replace(
            after,
            state=State.SHIFTED,
            since=float(days[back]),
            earliest=float(days[min(first + shift.earliest, back)]),
            latest=float(days[max(first + shift.latest, back)]),
        )
    return _against(after, days, found[:first], moves_left)


def _step(days: Floats, found: Floats, place: int, either_way: bool, moves_left: int) -> Course:
    before, later = found[:place], found[place:]
    after = _stretch(days[place:], later, moves_left - 1)
    if math.isfinite(after.since):
        return _against(after, days, before, moves_left)
    shift = change_point(found, fewest=_FEWEST_BESIDE)
    assert shift is not None, "a step that was found leaves enough runs on both sides"
    moved = replace(
        after,
        state=State.SHIFTED,
        since=float(days[place]),
        earliest=float(days[min(shift.earliest, place)]),
        latest=float(days[max(shift.latest, place)]),
        either_way=either_way,
    )
    return _against(moved, days, before, moves_left)


def _stretch(days: Floats, found: Floats, moves_left: int) -> Course:
    """Return the course of the checks after a move, steady where they are too few to say more."""
    if found.size < FEWEST_CHECKS:
        return Course(State.STEADY, *_mean(found))
    return _follow(days, found, moves_left)


def _against(after: Course, days: Floats, before: Floats, moves_left: int) -> Course:
    """Say what level the meter had at first, and call it steady again where a repair brought it back there."""
    before = _at_first(days, before, moves_left - 1)
    course = replace(after, before=float(before.mean()))
    if course.state is State.DRIFTING or before.size < _FEWEST_BESIDE:
        return course
    reach = float(stdtrit(before.size - 1, 0.975)) * float(before.std(ddof=1)) / math.sqrt(before.size)
    back = course.low - reach <= course.before <= course.high + reach
    return replace(course, state=State.STEADY if back else State.SHIFTED)


def _at_first(days: Floats, before: Floats, moves_left: int) -> Floats:
    """Return the checks from before the first move of those that stand before a move."""
    while moves_left > 0 and before.size >= FEWEST_CHECKS:
        moved = _follow(days[: before.size], before, moves_left)
        first = int(np.searchsorted(days[: before.size], moved.since)) if math.isfinite(moved.since) else 0
        if not first:
            return before
        before = before[:first]
    return before


def _drift(days: Floats, found: Floats, best: _Best, moves_left: int) -> Course:
    begins, earliest, latest = _bend_between(days, found)
    design = _bend_design(days, begins)
    level, slope = (float(value) for value in np.linalg.lstsq(design, found, rcond=None)[0])
    left = found - design @ np.array([level, slope])
    reset = _reset(days, left, begins)
    if reset is not None:
        first = int(np.searchsorted(days, begins, side="right"))
        steady_first = first >= _FEWEST_BESIDE
        return (
            _came_back(days, found, (first, reset), moves_left)
            if steady_first
            else _step(days, found, reset, False, moves_left)
        )
    full = np.column_stack([design, np.where(days > begins, -slope, 0.0)])
    covariance = float(left @ left) / (days.size - 3) * np.linalg.pinv(full.T @ full)
    t = float(stdtrit(days.size - 3, 0.975))
    gradient = full[-1]
    now, reach = level + slope * float(design[-1, 1]), t * math.sqrt(float(gradient @ covariance @ gradient))
    error = t * math.sqrt(float(covariance[1, 1]))
    weekly = slope * _DAYS_A_WEEK, (slope - error) * _DAYS_A_WEEK, (slope + error) * _DAYS_A_WEEK
    return Course(
        State.DRIFTING, now, now - reach, now + reach, begins, earliest, latest, *weekly, level, best.either_way
    )


def _reset(days: Floats, left: Floats, begins: float) -> int | None:
    """Return the check from which on a drift was set back, as a step in what the drift leaves; None where none is."""
    drifting = np.flatnonzero(days >= begins)
    if drifting.size < FEWEST_CHECKS:
        return None
    best = _best_move(days[drifting], left[drifting])
    return int(drifting[best.place]) if best and not best.bend and best.chance <= FALSE_ALARMS / 2 else None


def _best_move(days: Floats, found: Floats) -> _Best | None:
    """Return the best single move; None where the checks are all alike."""
    n, centred = found.size, found - found.mean()
    if not np.ptp(found) > 0:
        return None
    steps = np.array([np.arange(n) >= place for place in range(_FEWEST_BESIDE, n - _FEWEST_BESIDE + 1)], dtype=float)
    bends = np.array([np.maximum(days - days[place], 0) for place in range(n - _FEWEST_BESIDE)])
    directions = np.vstack([_unit(steps), _unit(bends)])
    shuffled = np.random.default_rng(_SEED).permuted(np.tile(centred, (_SHUFFLES, 1)), axis=1)
    by_chance = np.square(shuffled @ directions.T).max(axis=1)
    saved = np.square(directions @ centred)
    winner = int(np.argmax(saved))
    chance = (1 + int(np.count_nonzero(by_chance >= saved[winner] * (1 - 1e-12)))) / (1 + _SHUFFLES)
    of_steps, of_bends = float(saved[: len(steps)].max()), float(saved[len(steps) :].max())
    total = float(centred @ centred)
    left_over = total - np.array([of_steps, of_bends])
    # A ratio of squares that costs less than two units of log likelihood: neither can be preferred.
    either_way = bool(left_over.max() <= left_over.min() * math.exp(4.0 / n))
    bend = winner >= len(steps)
    return _Best(chance, winner - len(steps) if bend else winner + _FEWEST_BESIDE, bend, either_way)


def _unit(rows: Floats) -> Floats:
    centred = rows - rows.mean(axis=1, keepdims=True)
    length = np.sqrt(np.square(centred).sum(axis=1, keepdims=True))
    return np.asarray(np.divide(centred, length, out=np.zeros_like(centred), where=length > 0), dtype=np.float64)


def _bend_between(days: Floats, found: Floats) -> tuple[float, float, float]:
    """Return when the bend most likely began, and the dates that the checks do not contradict at 95 %."""
    grid = np.arange(days[0], days[-_FEWEST_BESIDE], 1.0)
    directions = _unit(np.maximum(days[None, :] - grid[:, None], 0))
    centred = found - found.mean()
    left_over = float(centred @ centred) - np.square(directions @ centred)
    freedom = found.size - 3
    allowed = left_over.min() * (1 + float(stdtrit(freedom, 0.975)) ** 2 / freedom)
    inside = grid[left_over <= allowed]
    return float(grid[int(np.argmin(left_over))]), float(inside[0]), float(inside[-1])


def _bend_design(days: Floats, begins: float) -> Floats:
    return np.column_stack([np.ones(days.size), np.maximum(days - begins, 0)])


def _mean(found: Floats) -> tuple[float, float, float]:
    middle = float(found.mean())
    if found.size < 2:
        return middle, math.nan, math.nan
    reach = float(stdtrit(found.size - 1, 0.975)) * float(found.std(ddof=1)) / math.sqrt(found.size)
    return middle, middle - reach, middle + reach
