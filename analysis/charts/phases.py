"""Which runs are a phase's baseline, who froze it and why, and which runs were left out?

A phase is a stretch of runs with limits of its own; a new one begins after a known change, never by itself. Its
baseline is frozen: limits do not move with later runs. A run is left out of a baseline only with a reason, which is
kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analysis.charts.arrays import BoolArray, FloatArray, IntArray

__all__ = ["LeftOut", "Phase", "PhaseMarks", "by_phase", "fewest_in_a_phase", "mark_phases"]


@dataclass(frozen=True)
class LeftOut:
    """A run, from 0, that a baseline does without, and why."""

    run: int
    because: str

    def __post_init__(self) -> None:
        if not self.because.strip():
            raise ValueError("LeftOut: because must give the reason, got an empty text")


@dataclass(frozen=True)
class Phase:
    """A stretch that begins at run ``begins`` and lasts until the next phase; runs count from 0.

    Its limits come from runs ``baseline_from`` to ``baseline_to``, both included, less those ``left_out``. ``because``
    says why the phase begins or why this is its baseline.
    """

    begins: int
    baseline_from: int
    baseline_to: int
    because: str
    left_out: tuple[LeftOut, ...] = ()

    def __post_init__(self) -> None:
        if not self.because.strip():
            raise ValueError("Phase: because must give the reason, got an empty text")
        if not 0 <= self.begins <= self.baseline_from <= self.baseline_to:
            raise ValueError(
                "Phase: begins, baseline_from and baseline_to must be runs in this order, "
                f"got {self.begins}, {self.baseline_from} and {self.baseline_to}"
            )
        outside = [each.run for each in self.left_out if not self.baseline_from <= each.run <= self.baseline_to]
        if outside:
            raise ValueError(f"Phase: left_out must name runs of the baseline, got {outside}")


@dataclass(frozen=True, eq=False)
class PhaseMarks:
    """The phase number of each run, and whether it is in its phase's baseline; both have shape (n,)."""

    phase: IntArray
    baseline: BoolArray


def mark_phases(phases: Sequence[Phase], n: int) -> PhaseMarks:
    """Return phases as the charts take them.

    Parameters
    ----------
    phases : sequence of Phase
        In order; the first begins at run 0. A baseline may reach past the last run that there is yet.
    n : int
        The number of runs.

    Raises
    ------
    ValueError
        If the first phase does not begin at 0, phases are not in order, or a baseline reaches into the next phase.
    """
    begins = [phase.begins for phase in phases]
    if not phases or begins[0] != 0 or any(later <= earlier for earlier, later in pairwise(begins)):
        raise ValueError(f"phases must begin at run 0 and in rising order, got {begins}")
    reach = [phase.baseline_to for phase in phases[:-1]]
    if any(last >= following for last, following in zip(reach, begins[1:], strict=True)):
        raise ValueError("phases: a baseline must end before the next phase begins")
    runs = np.arange(n)
    baseline = np.zeros(n, dtype=np.bool_)
    for phase in phases:
        baseline |= (runs >= phase.baseline_from) & (runs <= phase.baseline_to)
        baseline[[each.run for each in phase.left_out if each.run < n]] = False
    return PhaseMarks(np.searchsorted(np.array(begins), runs, side="right") - 1, baseline)


def by_phase(
    series: FloatArray,
    usable: BoolArray,
    phase: IntArray,
    statistic: Callable[[FloatArray], float],
    given: float | None = None,
) -> FloatArray:
    """Return, at each run, the statistic of its phase's usable runs; what is given stands in every phase.

    Parameters
    ----------
    series : array, shape (n,)
    usable : array of bool, shape (n,)
        The runs that the statistic is made from.
    phase : array of int, shape (n,)
    statistic : callable
        From the usable runs of a phase, none to all, to a number.
    given : float, optional
        Stands in the statistic's place.
    """
    if given is not None:
        return np.full(series.size, given)
    result = np.full(series.size, np.nan)
    for number in np.unique(phase):
        here = phase == number
        result[here] = statistic(series[here & usable])
    return result


def fewest_in_a_phase(in_baseline: BoolArray, phase: IntArray) -> int:
    """Return the number of baseline runs of the phase that has the fewest; 0 where there is no run.

    Parameters
    ----------
    in_baseline : array of bool, shape (n,)
    phase : array of int, shape (n,)
    """
    if not phase.size:
        return 0
    _, place = np.unique(phase, return_inverse=True)
    return int(np.bincount(place, in_baseline).min())
