"""Which baseline did a person freeze for a series, and why?

Limits come from a frozen baseline and do not move with later runs. A new phase begins when a person says so, after a
known change; nothing here begins one by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd

from analysis.charts import PhaseMarks

__all__ = ["BASELINE_RUNS", "FrozenPhase", "RunLeftOut", "phase_marks", "phases_of"]

BASELINE_RUNS = 25
"""Until a person freezes a baseline, limits come from this many first runs."""


@dataclass(frozen=True)
class RunLeftOut:
    """A run that a baseline does without, and why."""

    run: str
    because: str

    def __post_init__(self) -> None:
        if not self.because.strip():
            raise ValueError("RunLeftOut: because must give the reason, got an empty text")


@dataclass(frozen=True)
class FrozenPhase:
    """A stretch of a recipe's runs in a format with limits of their own.

    It begins with the first run on or after ``begins`` (with the first of all where that is None) and lasts until the
    next phase. Its limits come from the runs of ``since`` to ``until``, both included, less those ``left_out``.
    ``because`` says why, and ``by`` who said so.
    """

    recipe: str
    format: str | None
    begins: date | None
    since: date
    until: date
    because: str
    by: str
    left_out: tuple[RunLeftOut, ...] = ()

    def __post_init__(self) -> None:
        if not self.because.strip():
            raise ValueError("FrozenPhase: because must give the reason, got an empty text")
        if self.since > self.until:
            raise ValueError(f"FrozenPhase: since must not be after until, got {self.since} and {self.until}")


def phases_of(phases: Sequence[FrozenPhase], recipe: str | None, format: str | None) -> tuple[FrozenPhase, ...]:
    """Return a series' phases in the order in which they begin.

    Raises
    ------
    ValueError
        If two phases of the series begin on the same day.
    """
    own = [phase for phase in phases if (phase.recipe, phase.format) == (recipe, format)]
    begins = [phase.begins for phase in own]
    if len(set(begins)) < len(begins):
        raise ValueError(f"phases: two phases of {recipe}, {format} begin on the same day")
    return tuple(sorted(own, key=lambda phase: phase.begins or date.min))


def phase_marks(phases: Sequence[FrozenPhase], runs: pd.DataFrame) -> PhaseMarks:
    """Return the phase of each run, from 0, and whether it is in its phase's baseline.

    Parameters
    ----------
    phases : sequence of FrozenPhase
        One series' own, in order; without one the first runs are the baseline.
    runs : DataFrame
        ``run`` and ``at`` of the series' runs, in order.
    """
    n = len(runs)
    if not phases:
        return PhaseMarks(np.zeros(n, dtype=np.int64), np.arange(n) < BASELINE_RUNS)
    days = runs["at"].to_numpy("datetime64[D]")
    begins = np.array([np.datetime64(phase.begins or phase.since, "D") for phase in phases])
    phase = np.maximum(np.searchsorted(begins, days, side="right") - 1, 0)
    baseline = np.zeros(n, dtype=np.bool_)
    for number, each in enumerate(phases):
        within = (days >= np.datetime64(each.since, "D")) & (days <= np.datetime64(each.until, "D"))
        without = runs["run"].isin([left.run for left in each.left_out]).to_numpy(np.bool_)
        baseline |= (phase == number) & within & ~without
    return PhaseMarks(phase.astype(np.int64), baseline)
