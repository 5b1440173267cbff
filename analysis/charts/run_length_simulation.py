"""How many runs pass before a set of rules gives a signal, in simulated histories?

Every history is one column of the state; all move on by one run at a time, and a history that has given its signal
leaves. It is a second writing of the rules, apart from ``run_patterns``, and each is held against the other.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

import numpy as np

from analysis.charts.arrays import BoolArray, FloatArray, IntArray

__all__ = ["simulated_run_lengths"]


class _Histories:
    """What the rules remember of each history still without a signal; each array has shape (histories,)."""

    def __init__(self, count: int) -> None:
        self.last = np.full(count, np.nan)
        self.above_centre, self.below_centre, self.rising, self.falling, self.turning, self.inside, self.outside = (
            np.zeros(count, dtype=np.int64) for _ in range(7)
        )
        self.last_step = np.zeros(count, dtype=np.int64)
        self.above_one, self.below_one, self.above_two, self.below_two = (
            np.zeros(count, dtype=np.int64) for _ in range(4)
        )
        self.z = np.zeros(count)

    def move_on(self, z: FloatArray) -> None:
        """Take the next run of every history."""
        step = np.sign(np.nan_to_num(z - self.last)).astype(np.int64)
        self.rising = np.where(step > 0, self.rising + 1, 0)
        self.falling = np.where(step < 0, self.falling + 1, 0)
        self.turning = np.where(step * self.last_step < 0, self.turning + 1, 0)
        self.above_centre = np.where(z > 0, self.above_centre + 1, 0)
        self.below_centre = np.where(z < 0, self.below_centre + 1, 0)
        self.inside = np.where(np.abs(z) <= 1, self.inside + 1, 0)
        self.outside = np.where(np.abs(z) > 1, self.outside + 1, 0)
        for name, mark in (
            ("above_one", z > 1),
            ("below_one", z < -1),
            ("above_two", z > 2),
            ("below_two", z < -2),
        ):
            setattr(self, name, ((getattr(self, name) << 1) | mark) & 0xFF)
        self.z, self.last, self.last_step = z, z, step

    def keep(self, going_on: BoolArray) -> None:
        """Let go of the histories that have given their signal."""
        for name, remembered in vars(self).items():
            setattr(self, name, remembered[going_on])


def _some(marks: IntArray, least: int, window: int) -> BoolArray:
    recent = marks & ((1 << window) - 1)
    found: BoolArray = (recent & 1 == 1) & (np.bitwise_count(recent) >= least)
    return found


def _both_sides(h: _Histories) -> BoolArray:
    found: BoolArray = (h.outside >= 8) & (h.above_one > 0) & (h.below_one > 0)
    return found


_COMPLETED: Mapping[str, Callable[[_Histories], BoolArray]] = MappingProxyType(
    {
        "beyond-limit": lambda h: np.abs(h.z) > 3,
        "two-of-three": lambda h: _some(h.above_two, 2, 3) | _some(h.below_two, 2, 3),
        "four-of-five": lambda h: _some(h.above_one, 4, 5) | _some(h.below_one, 4, 5),
        "eight-on-a-side": lambda h: (h.above_centre >= 8) | (h.below_centre >= 8),
        "nine-on-a-side": lambda h: (h.above_centre >= 9) | (h.below_centre >= 9),
        "six-in-a-trend": lambda h: (h.rising >= 5) | (h.falling >= 5),
        "fourteen-alternating": lambda h: h.turning >= 12,
        "fifteen-inside": lambda h: h.inside >= 15,
        "eight-outside": _both_sides,
    }
)


def simulated_run_lengths(rules: tuple[str, ...], shift: float, histories: int, rng: np.random.Generator) -> IntArray:
    """Return the run at which each history first gives a signal, from 1, shape (histories,).

    Parameters
    ----------
    rules : tuple of str
        Codes of the run rules.
    shift : float
        Level of every run [sigma].
    histories : int
        How many histories of independent normal runs.
    rng : Generator
        Source of the runs.
    """
    lengths = np.zeros(histories, dtype=np.int64)
    going = np.arange(histories)
    remembered = _Histories(histories)
    run = 0
    while going.size:
        run += 1
        remembered.move_on(rng.normal(shift, 1.0, going.size))
        signal = np.zeros(going.size, dtype=np.bool_)
        for rule in rules:
            signal |= _COMPLETED[rule](remembered)
        if signal.any():
            lengths[going[signal]] = run
            going = going[~signal]
            remembered.keep(~signal)
    return lengths
