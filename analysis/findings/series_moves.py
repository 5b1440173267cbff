"""When did a series of runs move, and does a run remember the one before it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import Memory, Shift, alarm_rate_with_memory, level_shifts, levels_about, memory
from analysis.findings.coincidences import coincidences
from analysis.findings.series import Move
from analysis.findings.wording import percent_of_ratio
from analysis.vocabulary import Practice, Scale

__all__ = ["memory_between_moves", "memory_caution", "moves_of"]

_FEWEST_FOR_MEMORY = 20

Floats = npt.NDArray[np.float64]


def moves_of(
    runs: pd.DataFrame, found_in: Floats, sized: Floats, practices: Sequence[Practice], scale: Scale
) -> tuple[Move, ...]:
    """Return the moves of a series, each with what else changed when it moved.

    Parameters
    ----------
    runs : DataFrame
        ``at`` and the practices of each run, in order.
    found_in : array, shape (n,)
        The series in which moves are looked for.
    sized : array, shape (n,)
        The series, on ``scale``, that their size is taken from.
    practices : sequence of Practice
    scale : {"log", "linear"}
    """
    shifts = level_shifts(found_in)
    edges = [0, *(shift.at for shift in shifts), found_in.size]
    return tuple(
        _move(runs, sized, practices, shift, edges[place], edges[place + 2], scale, gradual)
        for place, (shift, gradual) in enumerate(zip(shifts, _gradual(sized, shifts), strict=True))
    )


def memory_between_moves(charted: Floats, moves: Sequence[Move]) -> Memory | None:
    """Return the memory from one run to the next once the moves are taken out; None where there are too few runs."""
    if charted.size < _FEWEST_FOR_MEMORY:
        return None
    edges = [0, *(move.point for move in moves), charted.size]
    return memory(np.concatenate([charted[a:b] - charted[a:b].mean() for a, b in pairwise(edges)]))


def memory_caution(found: Memory | None) -> tuple[str, ...]:
    """Return the caution that a series with a memory wants, or none."""
    if found is None or not found.matters:
        return ()
    one_in = 1 / alarm_rate_with_memory(found.correlation)
    return (
        f"A run is like the run before it (correlation {found.correlation:.2f}): these limits alarm once in about "
        f"{one_in:.0f} steady runs, not once in 370, and a move of the level is too easily seen.",
    )


def _move(
    runs: pd.DataFrame,
    sized: Floats,
    practices: Sequence[Practice],
    shift: Shift,
    left: int,
    right: int,
    scale: Scale,
    gradual: bool,
) -> Move:
    at, earliest, latest = (runs["at"].iloc[place] for place in (shift.at, shift.earliest, shift.latest))
    levels = levels_about(sized[left:right], shift.at - left)
    within = replace(shift, at=shift.at - left, earliest=shift.earliest - left, latest=shift.latest - left)
    log = scale == "log"
    percents = [_percent(size, levels.before, log) for size in (levels.after - levels.before, levels.low, levels.high)]
    return Move(
        at=at,
        earliest=earliest,
        latest=latest,
        point=shift.at,
        before=math.exp(levels.before) if log else levels.before,
        after=math.exp(levels.after) if log else levels.after,
        percent=percents[0],
        low=percents[1],
        high=percents[2],
        gradual=gradual,
        coincides_with=coincidences(runs.iloc[left:right], practices, within),
    )


def _percent(size: float, before: float, log: bool) -> float:
    if log:
        return percent_of_ratio(size)
    return 100 * size / abs(before) if before else float("nan")


def _gradual(sized: Floats, shifts: Sequence[Shift]) -> list[bool]:
    """Return, for each move, whether one straight climb or fall tells it and its like neighbours better than steps do.

    Neighbouring moves in one direction are taken together. Both ways of telling them are weighed by the Bayesian
    information criterion: a line has two numbers, so many steps have two each and the first level.

    Source: Schwarz 1978, "Estimating the dimension of a model", Ann. Stat. 6.
    """
    answers: list[bool] = []
    edges = [0, *(shift.at for shift in shifts), sized.size]
    place = 0
    for _, like in groupby(shifts, key=lambda shift: shift.size > 0):
        steps = len(list(like))
        own = edges[place : place + steps + 2]
        window = sized[own[0] : own[-1]]
        by_steps = sum(
            float(((part - part.mean()) ** 2).sum()) for part in np.split(window, np.subtract(own[1:-1], own[0]))
        )
        saved = window.size * math.log(_left_by_line(window) / by_steps) if by_steps > 0 else math.inf
        answers += [saved < (2 * steps - 1) * math.log(window.size)] * steps
        place += steps
    return answers


def _left_by_line(window: Floats) -> float:
    """Return the squares that a straight line through the runs leaves over."""
    place = np.arange(window.size) - (window.size - 1) / 2
    off = window - window.mean()
    return float(off @ off) - float(place @ off) ** 2 / float(place @ place)
