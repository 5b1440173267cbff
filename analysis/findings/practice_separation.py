"""Which practices always move together, so that their effects cannot be told apart?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy.sparse.csgraph import connected_components

from analysis.findings.practice_rows import Candidate

__all__ = ["Companion", "Separation", "separate"]

# At a correlation of 0.95 the standard error of each is tripled; their sum is still told well.
INSEPARABLE = 0.95
PARTLY_TOGETHER = 0.6

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Companion:
    """Another practice that moves with one, and how closely: the correlation within recipes, from −1 to 1.

    ``steps`` is how many of its own steps go with one step of that one.
    """

    candidate: Candidate
    correlation: float
    steps: float = 1.0


@dataclass(frozen=True)
class Separation:
    """What can be told apart.

    ``leaders`` are the candidates that enter the joint model; ``followers`` maps the column of a leader to those that
    move with it so closely that only their joint effect can be told; ``companions`` maps a column to those that move
    with it in part.
    """

    leaders: tuple[Candidate, ...]
    followers: dict[str, tuple[Companion, ...]]
    companions: dict[str, tuple[Companion, ...]]


def separate(frame: pd.DataFrame, candidates: Sequence[Candidate]) -> Separation:
    """Return which candidates can be told apart, seen within recipes over runs.

    Parameters
    ----------
    frame : DataFrame
        The compared rows, with a column for each candidate.
    candidates : sequence of Candidate
        In the order in which one of an inseparable group is chosen to lead it.
    """
    if not candidates:
        return Separation((), {}, {})
    together, spread = _within_recipe_correlations(frame, candidates)
    bound = np.abs(together) >= INSEPARABLE
    _, group = connected_components(bound.astype(np.float64), directed=False)
    first = {int(g): int(np.flatnonzero(group == g)[0]) for g in np.unique(group)}
    followers: dict[str, tuple[Companion, ...]] = {}
    for g, lead in first.items():
        others = [int(i) for i in np.flatnonzero(group == g) if i != lead]
        if others:
            followers[candidates[lead].column] = _companions(candidates, together[lead], spread / spread[lead], others)
    companions = {}
    for lead in first.values():
        near = [i for i in first.values() if i != lead and abs(together[lead, i]) >= PARTLY_TOGETHER]
        if near:
            companions[candidates[lead].column] = _companions(candidates, together[lead], spread / spread[lead], near)
    return Separation(tuple(candidates[i] for i in sorted(first.values())), followers, companions)


def _companions(
    candidates: Sequence[Candidate], correlation: Floats, ratio: Floats, places: Sequence[int]
) -> tuple[Companion, ...]:
    return tuple(Companion(candidates[i], float(correlation[i]), float(correlation[i] * ratio[i])) for i in places)


def _within_recipe_correlations(frame: pd.DataFrame, candidates: Sequence[Candidate]) -> tuple[Floats, Floats]:
    """Return the correlations of run values, each less its recipe's mean, over the runs that have both, and the
    standard deviations."""
    columns = [candidate.column for candidate in candidates]
    by_run = frame.groupby(["recipe", "run"], sort=False)[columns].mean()
    within = by_run - by_run.groupby("recipe").transform("mean")
    correlations = within.corr(min_periods=5).fillna(0.0).to_numpy(copy=True)
    same_practice = np.array([[a.practice == b.practice for b in candidates] for a in candidates])
    correlations[same_practice] = 0.0  # the levels of one category exclude each other; that is no companionship
    np.fill_diagonal(correlations, 1.0)
    spread = within.std().fillna(0.0).to_numpy(dtype=np.float64)
    return correlations, np.where(spread > 0, spread, 1.0)
