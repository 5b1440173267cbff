"""When did a series of runs move, and does a run remember the one before it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import (
    Batches,
    Climb,
    Memory,
    Shift,
    alarm_rate_with_memory,
    batch_means,
    level_shifts,
    levels_about,
    memory,
    slow_climb,
)
from analysis.findings.coincidences import coincidences
from analysis.findings.series import IfSlow, Move
from analysis.findings.series_batches import batch_numbers, batches_of
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
        ``at``, ``batch``, ``recipe`` where there are several, and the practices of each run, in order.
    found_in : array, shape (n,)
        The series in which moves are looked for.
    sized : array, shape (n,)
        The series, on ``scale``, that their size is taken from.
    practices : sequence of Practice
    scale : {"log", "linear"}

    Notes
    -----
    Runs of one batch count once, by their mean, at the first of them: they are alike, and taken one by one they would
    make every batch look like a new level.
    """
    batches = batches_of(batch_numbers(runs), len(runs))
    if batches is None:
        shifts = level_shifts(found_in)
        return _moves_between(runs, shifts, sized, practices, scale) if shifts else ()
    every = np.ones(len(runs), dtype=np.bool_)
    order = np.argsort(batches.first)
    first = batches.first[order]
    shifts = level_shifts(batch_means(found_in, every, batches)[0][order])
    if not shifts:
        return ()
    of_size = batch_means(sized, every, batches)[0][order]
    moves = _moves_between(runs.iloc[first], shifts, of_size, practices, scale)
    return tuple(replace(move, point=int(first[move.point])) for move in moves)


def _moves_between(
    runs: pd.DataFrame, shifts: Sequence[Shift], sized: Floats, practices: Sequence[Practice], scale: Scale
) -> tuple[Move, ...]:
    edges = [0, *(shift.at for shift in shifts), sized.size]
    moves: list[Move] = []
    place = 0
    for _, like in groupby(shifts, key=lambda shift: shift.size > 0):
        together = list(like)
        own = edges[place : place + len(together) + 2]
        climb = slow_climb(sized[own[0] : own[-1]], [at - own[0] for at in own[1:-1]])
        if climb is not None and climb.is_plain:
            moves.append(_climbed(_Stretch(runs, sized, own[0], own[-1]), practices, climb, scale))
        else:
            slow = climb if climb is not None and climb.is_open else None
            moves += [
                _stepped(_Stretch(runs, sized, own[step], own[step + 2]), practices, shift, scale, slow)
                for step, shift in enumerate(together)
            ]
            if slow is not None and len(together) == 1:
                moves[-1] = replace(moves[-1], if_slow=_if_slow(slow, scale))
        place += len(together)
    return tuple(moves)


def memory_between_moves(
    charted: Floats, moves: Sequence[Move], at: pd.Series, batches: Batches | None = None
) -> Memory | None:
    """Return the memory from one run to the next once the moves are taken out; None where there are too few runs.

    Parameters
    ----------
    charted : array, shape (n,)
    moves : sequence of Move
    at : Series, shape (n,)
        The runs' moments.
    batches : Batches, optional
        Where a batch has several runs: the memory is then from one batch to the next.
    """
    if batches is not None:
        means, _ = batch_means(charted, np.ones(charted.size, dtype=np.bool_), batches)
        placed = tuple(replace(move, point=int(batches.of_run[move.point])) for move in moves)
        return memory_between_moves(means, placed, at.iloc[batches.last])
    if charted.size < _FEWEST_FOR_MEMORY:
        return None
    edges = [0, *(move.point for move in moves if not move.gradual), charted.size]
    left = np.concatenate([charted[a:b] - charted[a:b].mean() for a, b in pairwise(edges)])
    for move in moves:
        if move.gradual and move.ends is not None:
            left = _without_climb(left, move, int(np.searchsorted(at.to_numpy(), move.ends.to_numpy())))
    return memory(left)


def _without_climb(charted: Floats, move: Move, ends: int) -> Floats:
    begins = move.point - 1
    shape = np.clip((np.arange(charted.size) - begins) / max(ends - begins, 1), 0.0, 1.0)
    shape -= shape.mean()
    left: Floats = charted - shape * float(shape @ charted) / float(shape @ shape)
    return left


def memory_caution(found: Memory | None, unit: str = "run") -> tuple[str, ...]:
    """Return the caution that a series with a memory wants, or none; ``unit`` says of what, runs or batches."""
    if found is None or not found.matters:
        return ()
    one_in = 1 / alarm_rate_with_memory(found.correlation)
    many = "runs" if unit == "run" else "batches"
    return (
        f"A {unit} is like the {unit} before it (correlation {found.correlation:.2f}): these limits alarm once in "
        f"about {one_in:.0f} steady {many}, not once in 370, and a move of the level is too easily seen.",
    )


@dataclass(frozen=True, eq=False)
class _Stretch:
    """The runs of a series from ``left`` up to ``right``, and the series itself on its scale."""

    all_runs: pd.DataFrame
    sized: Floats
    left: int
    right: int

    @property
    def runs(self) -> pd.DataFrame:
        return self.all_runs.iloc[self.left : self.right]

    @property
    def values(self) -> Floats:
        return self.sized[self.left : self.right]


@dataclass(frozen=True)
class _Size:
    """The levels on both sides of a move and the 95 % interval of their difference, on the series' scale."""

    before: float
    after: float
    low: float
    high: float


def _stepped(stretch: _Stretch, practices: Sequence[Practice], shift: Shift, scale: Scale, slow: Climb | None) -> Move:
    left = stretch.left
    within = replace(shift, at=shift.at - left, earliest=shift.earliest - left, latest=shift.latest - left)
    levels = levels_about(stretch.values, within.at)
    size = _Size(levels.before, levels.after, levels.low, levels.high)
    return replace(_move(stretch, practices, within, size, scale), may_be_gradual=slow is not None)


def _if_slow(climb: Climb, scale: Scale) -> IfSlow:
    """Return the size of a climb in percent of the level before it."""
    sizes = (climb.after - climb.before, climb.low, climb.high)
    return IfSlow(*(_percent(size, climb.before, scale == "log") for size in sizes))


def _climbed(stretch: _Stretch, practices: Sequence[Practice], climb: Climb, scale: Scale) -> Move:
    """Return a climb as a move that begins with the first run after its lower corner."""
    first, earliest, latest = climb.begins + 1, climb.earliest + 1, climb.latest + 1
    within = Shift(first, earliest, latest, climb.before, climb.after, climb.low, climb.high, math.nan)
    size = _Size(climb.before, climb.after, climb.low, climb.high)
    ends = stretch.runs["at"].iloc[climb.ends]
    return replace(_move(stretch, practices, within, size, scale), gradual=True, ends=ends)


def _move(stretch: _Stretch, practices: Sequence[Practice], within: Shift, size: _Size, scale: Scale) -> Move:
    at, earliest, latest = (stretch.runs["at"].iloc[place] for place in (within.at, within.earliest, within.latest))
    log = scale == "log"
    percents = [_percent(off, size.before, log) for off in (size.after - size.before, size.low, size.high)]
    return Move(
        at=at,
        earliest=earliest,
        latest=latest,
        point=stretch.left + within.at,
        before=math.exp(size.before) if log else size.before,
        after=math.exp(size.after) if log else size.after,
        percent=percents[0],
        low=percents[1],
        high=percents[2],
        gradual=False,
        coincides_with=coincidences(stretch.runs, practices, within),
    )


def _percent(size: float, before: float, log: bool) -> float:
    if log:
        return percent_of_ratio(size)
    return 100 * size / abs(before) if before else float("nan")
