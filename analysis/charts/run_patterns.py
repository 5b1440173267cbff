"""Where in one unbroken stretch of points does each pattern complete?

Each finder takes a stretch and returns, for each side that the pattern can have, a mark at every point that completes
it. The rules in words, with their origin, are in ``run_rules``.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from types import MappingProxyType

import numpy as np

from analysis.charts.arrays import BoolArray, FloatArray

__all__ = ["FINDERS", "ON", "Completed", "Stretch"]

ON = 1e-9  # [sigma] nearer than this to a line is on it: rounding must not push a point over a limit

Completed = tuple[int, BoolArray]
ABOVE, BELOW, NO_SIDE = 1, -1, 0


class Stretch:
    """One stretch of points without a gap, with the marks that patterns share, each made when first asked for."""

    def __init__(self, z: FloatArray, beyond: tuple[BoolArray, BoolArray] | None = None) -> None:
        self.z = z
        self._beyond = beyond

    @property
    def beyond(self) -> tuple[BoolArray, BoolArray]:
        """Above the upper limit, below the lower limit."""
        return self._beyond if self._beyond is not None else (self.z > 3 + ON, self.z < -3 - ON)

    @property
    def sides(self) -> tuple[BoolArray, BoolArray]:
        """Above the centre, below the centre."""
        return self.z > ON, self.z < -ON

    @cached_property
    def one_sigma(self) -> tuple[BoolArray, BoolArray]:
        """Beyond one sigma above, beyond one sigma below."""
        return self.z > 1 + ON, self.z < -1 - ON

    @property
    def two_sigma(self) -> tuple[BoolArray, BoolArray]:
        """Beyond two sigma above, beyond two sigma below."""
        return self.z > 2 + ON, self.z < -2 - ON

    @cached_property
    def steps(self) -> tuple[BoolArray, BoolArray]:
        """Up from the point before, down from the point before; shape (n - 1,)."""
        step = np.diff(self.z)
        return step > ON, step < -ON


def in_a_row(marks: BoolArray, length: int) -> BoolArray:
    """Return a mark wherever ``length`` marks in a row end; shape as given."""
    ends = np.zeros(marks.size, dtype=np.bool_)
    if marks.size < length:
        return ends
    run, reached = marks, 1
    while reached < length:
        jump = min(reached, length - reached)
        run = run[jump:] & run[:-jump]
        reached += jump
    ends[length - 1 :] = run
    return ends


def some_of_the_last(marks: BoolArray, least: int, window: int) -> BoolArray:
    """Return a mark wherever a marked point is one of at least ``least`` among the last ``window``."""
    before = np.zeros(marks.size, dtype=np.int8)
    for lag in range(1, min(window, marks.size)):
        before[lag:] += marks[:-lag].view(np.int8)
    completed: BoolArray = marks & (before >= least - 1)
    return completed


def _two_sided(sides: tuple[BoolArray, BoolArray], found: Callable[[BoolArray], BoolArray]) -> tuple[Completed, ...]:
    return (ABOVE, found(sides[0])), (BELOW, found(sides[1]))


def _beyond_limit(stretch: Stretch) -> tuple[Completed, ...]:
    return _two_sided(stretch.beyond, lambda marks: marks)


def _two_of_three(stretch: Stretch) -> tuple[Completed, ...]:
    return _two_sided(stretch.two_sigma, lambda marks: some_of_the_last(marks, 2, 3))


def _four_of_five(stretch: Stretch) -> tuple[Completed, ...]:
    return _two_sided(stretch.one_sigma, lambda marks: some_of_the_last(marks, 4, 5))


def _eight_on_a_side(stretch: Stretch) -> tuple[Completed, ...]:
    return _two_sided(stretch.sides, lambda marks: in_a_row(marks, 8))


def _nine_on_a_side(stretch: Stretch) -> tuple[Completed, ...]:
    return _two_sided(stretch.sides, lambda marks: in_a_row(marks, 9))


def _six_in_a_trend(stretch: Stretch) -> tuple[Completed, ...]:
    return _two_sided(stretch.steps, lambda steps: _from_steps(in_a_row(steps, 5)))


def _fourteen_alternating(stretch: Stretch) -> tuple[Completed, ...]:
    up, down = stretch.steps
    turns = (up[1:] & down[:-1]) | (down[1:] & up[:-1])
    return ((NO_SIDE, _from_steps(_from_steps(in_a_row(turns, 12)))),)


def _fifteen_inside(stretch: Stretch) -> tuple[Completed, ...]:
    above, below = stretch.one_sigma
    return ((NO_SIDE, in_a_row(~(above | below), 15)),)


def _eight_outside(stretch: Stretch) -> tuple[Completed, ...]:
    above, below = stretch.one_sigma
    one_sided = in_a_row(above, 8) | in_a_row(below, 8)
    return ((NO_SIDE, in_a_row(above | below, 8) & ~one_sided),)


def _from_steps(marks: BoolArray) -> BoolArray:
    """Return marks at points from marks at the steps that lead to them."""
    return np.concatenate([np.zeros(1, dtype=np.bool_), marks])


FINDERS: Mapping[str, Callable[[Stretch], tuple[Completed, ...]]] = MappingProxyType(
    {
        "beyond-limit": _beyond_limit,
        "two-of-three": _two_of_three,
        "four-of-five": _four_of_five,
        "eight-on-a-side": _eight_on_a_side,
        "nine-on-a-side": _nine_on_a_side,
        "six-in-a-trend": _six_in_a_trend,
        "fourteen-alternating": _fourteen_alternating,
        "fifteen-inside": _fifteen_inside,
        "eight-outside": _eight_outside,
    }
)
