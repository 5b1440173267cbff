"""What else changed about when a level moved?

A practice, a further column, a line, a tank or a meter is listed where it plainly changed from one standing to another
and the dates of that change overlap those of the move. It coincides; nothing here says that it is the cause.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.charts import STEADY_PENALTY, Shift, change_point
from analysis.findings.wording import amount
from analysis.vocabulary import Practice

__all__ = ["coincidences"]

FEWEST_ON_A_SIDE = 3
MOST_LEVELS = 12


def coincidences(runs: pd.DataFrame, practices: Sequence[Practice], move: Shift) -> tuple[str, ...]:
    """Return a phrase for everything that changed when the level moved.

    Parameters
    ----------
    runs : DataFrame
        The runs from the move before to the move after, in order, with a column for each practice.
    practices : sequence of Practice
        The columns to look at; one that ``runs`` does not have is passed over.
    move : Shift
        Counted in rows of ``runs``.
    """
    found: list[tuple[float, str]] = []
    for practice in practices:
        if practice.name in runs:
            found.extend(_changes(runs[practice.name], practice, move))
    return tuple(phrase for _, phrase in sorted(found, key=lambda each: -each[0]))


def _changes(column: pd.Series, practice: Practice, move: Shift) -> Iterator[tuple[float, str]]:
    noted = column.notna().to_numpy()
    begun = None if noted.all() else _when(noted.astype(np.float64), move)
    if begun is not None:
        words = "first noted" if begun.after > begun.before else "no longer noted"
        yield begun.saved, f"{practice.label}: {words}"
        return
    if practice.type == "category":
        yield from _changed_levels(column, practice, move)
        return
    change = _when(np.asarray(column.rank(), dtype=np.float64), move)
    if change is not None:
        yield change.saved, _from_to(column.to_numpy(np.float64), practice, change.at)


def _changed_levels(column: pd.Series, practice: Practice, move: Shift) -> Iterator[tuple[float, str]]:
    """Yield the level that gained most, where any level's share changed when the level of the measure moved."""
    codes, levels = pd.factorize(column)
    if not 2 <= len(levels) <= MOST_LEVELS:
        return
    gains: list[tuple[float, float, str]] = []
    beyond_chance = 2 * math.log(len(levels))
    for code, level in enumerate(levels):
        change = _when(np.where(codes < 0, np.nan, codes == code), move)
        if change is not None and change.saved >= STEADY_PENALTY + beyond_chance:
            words = f"{practice.label}: {level} in {_share(change.after)} of runs, {_share(change.before)} before"
            gains.append((change.size, change.saved, words))
    if gains:
        _, saved, words = max(gains)
        yield saved, words


def _when(values: npt.NDArray[np.float64], move: Shift) -> Shift | None:
    """Return the change of a practice where it is plain and its dates overlap those of the move."""
    change = change_point(values, fewest=FEWEST_ON_A_SIDE, least_saved=STEADY_PENALTY)
    if change is None:
        return None
    apart = change.latest < move.earliest or change.earliest > move.latest
    return None if apart else change


def _from_to(values: npt.NDArray[np.float64], practice: Practice, at: int) -> str:
    before, after = values[:at], values[at:]
    if practice.type == "yes_no":
        return f"{practice.label}: yes in {_share(np.nanmean(after))} of runs, {_share(np.nanmean(before))} before"
    old, new = float(np.nanmean(before)), float(np.nanmean(after))
    return f"{practice.label}: {amount(old, digits=2)} → {amount(new, practice.unit, digits=2)}"


def _share(share: float | np.floating[Any]) -> str:
    return f"{100 * share:.0f} %"
