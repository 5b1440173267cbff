"""Is a move across recipes one of the line, or of a single recipe that is packed on it?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.findings.series import Move, RestsOn
from analysis.findings.wording import percent_of_ratio
from analysis.vocabulary import Scale

__all__ = ["rest_on_recipes"]

Floats = npt.NDArray[np.float64]

_FEWEST_ON_A_SIDE = 5
_MOST_LEFT = 0.5


def rest_on_recipes(moves: Sequence[Move], runs: pd.DataFrame, deviation: Floats, scale: Scale) -> tuple[Move, ...]:
    """Return the moves, each with the recipe that it rests on: without it less than half of the move would be left.

    Parameters
    ----------
    moves : sequence of Move
    runs : DataFrame
        ``recipe`` and ``at`` of each run, in order.
    deviation : array, shape (n,)
        Each run less its own recipe's centre, on ``scale``.
    scale : {"log", "linear"}
    """
    edges = [0, *(move.point for move in moves), len(runs)]
    return tuple(
        replace(move, rests_on=_rests_on(move, runs, deviation, edges[place], edges[place + 2], scale))
        for place, move in enumerate(moves)
    )


def _rests_on(move: Move, runs: pd.DataFrame, deviation: Floats, left: int, right: int, scale: Scale) -> RestsOn | None:
    recipes = runs["recipe"].iloc[left:right].to_numpy(dtype=object)
    shape = _shape(move, runs["at"], left, right)
    off = deviation[left:right]
    whole = _size(shape, off)
    known = [recipe for recipe in dict.fromkeys(recipes.tolist()) if isinstance(recipe, str)]
    without = {recipe: _size(shape[recipes != recipe], off[recipes != recipe]) for recipe in known}
    told = {recipe: size for recipe, size in without.items() if size is not None}
    if whole is None or not told:
        return None
    recipe = min(told, key=lambda name: told[name] / whole)
    if told[recipe] / whole >= _MOST_LEFT:
        return None
    return RestsOn(recipe, percent_of_ratio(told[recipe]) if scale == "log" else float("nan"))


def _shape(move: Move, at: pd.Series, left: int, right: int) -> Floats:
    """Return how far the move has come at each run, from 0 to 1."""
    place = np.arange(left, right)
    if not move.gradual or move.ends is None:
        return (place >= move.point).astype(np.float64)
    ends = int(np.searchsorted(at.to_numpy(), move.ends.to_numpy()))
    begins = move.point - 1
    return np.clip((place - begins) / max(ends - begins, 1), 0.0, 1.0)


def _size(shape: Floats, off: Floats) -> float | None:
    """Return the size of the move in some of the runs; None where too few of them are on either side of it."""
    if min(np.count_nonzero(shape < 0.5), np.count_nonzero(shape >= 0.5)) < _FEWEST_ON_A_SIDE:
        return None
    centred = shape - shape.mean()
    return float(centred @ off / (centred @ centred))
