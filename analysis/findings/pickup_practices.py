"""Which practices go with more or less oxygen over a step, recipes compared within themselves?

Every practice at every step is one family: what holds is told after allowing for how many were compared.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np
import pandas as pd
from scipy.special import stdtr

from analysis.estimate import Estimate
from analysis.findings.pickup_rises import batches_of, fitted
from analysis.linking import PackTable
from analysis.verdicts import adjusted_p_values
from analysis.vocabulary import Practice

__all__ = ["ALLOWED", "PracticeRise", "among_all", "practice_rises"]

ALLOWED = 0.05
"""The share of false ones allowed among the practices of which an effect is told."""

_FEWEST_A_SIDE = 5
_FEWEST = 12
# What is not yet decided at an early step and cannot have done anything there, and what decides where a step begins.
_NOT_ASKED: Mapping[str, frozenset[str]] = MappingProxyType(
    {
        "rouse": frozenset({
            "hours_since_rouse", "hours_since_finings", "days_since_dump", "cold_hours", "fill_temperature",
            "transfers", "finings_count", "cone_dumps", "dry_hop_days", "rouse_count",
        }),
        "racking": frozenset({"fill_temperature"}),
        "to_filler": frozenset({"transfers"}),
    }
)  # fmt: skip


@dataclass(frozen=True)
class PracticeRise:
    """How much more the rise is with a practice than without, or with one step more of it, within recipes.

    ``batches`` were compared, ``with_it`` and ``without_it`` of them where it is yes or no (else None). ``q`` is p
    after allowing for every practice and step that was compared.
    """

    practice: str
    label: str
    step: str
    batches: int
    with_it: int | None
    without_it: int | None
    difference: Estimate
    p: float
    q: float = 1.0

    @property
    def holds(self) -> bool:
        """Whether an effect is told after allowing for all that were compared."""
        return self.q <= ALLOWED


def practice_rises(name: str, rises: pd.DataFrame, table: PackTable) -> tuple[PracticeRise, ...]:
    """Return what each practice goes with over a step.

    Parameters
    ----------
    name : str
        The step's.
    rises : DataFrame
        The step's rises, as ``OxygenSteps`` has them.
    table : PackTable
    """
    if not len(rises) or not len(table.rows):
        return ()
    asked = [p for p in table.practices if p.type in ("yes_no", "number", "count") and p.name in table.rows]
    asked = [p for p in asked if p.name not in _NOT_ASKED.get(name, ()) and not (name == "rouse" and "_dose" in p.name)]
    own = table.rows.groupby("batch")[[p.name for p in asked]].mean()
    if name == "rouse" and "minutes" in rises:
        own["rouse_minutes"] = rises.groupby("batch")["minutes"].mean()
        asked = [replace(p, label="Minutes of that rouse") if p.name == "rouse_minutes" else p for p in asked]
    beside = rises.join(own, on="batch")
    return tuple(one for practice in asked if (one := practice_rise(beside, practice)) is not None)


def practice_rise(rises: pd.DataFrame, practice: Practice) -> PracticeRise | None:
    """Return what a practice goes with; None where too few batches tell.

    Parameters
    ----------
    rises : DataFrame
        As ``OxygenSteps`` has them, with ``recipe`` and the practice's column; a yes/no is 1, 0, or between them where
        it was done in part.
    practice : Practice
    """
    batches = batches_of(rises, ("recipe", practice.name)).dropna(subset=[practice.name, "recipe"])
    value = batches[practice.name].to_numpy(dtype=float)
    is_yes_no = practice.type == "yes_no"
    moved = (value >= 0.5).astype(float) if is_yes_no else value / practice.step
    if len(batches) < (2 * _FEWEST_A_SIDE if is_yes_no else _FEWEST) or not _can_tell(
        moved, batches["recipe"], is_yes_no
    ):
        return None
    recipes = batches["recipe"].nunique()
    formula = "low ~ moved + C(recipe)" if recipes > 1 else "low ~ moved"
    freedom = max(len(batches) - 1 - recipes, 1)
    told = fitted(batches.assign(moved=moved), formula, "moved", freedom)
    if told is None:
        return None
    with_it = int(moved.sum()) if is_yes_no else None
    return PracticeRise(
        practice.name, practice.label, practice.step_unit, len(batches), with_it,
        None if with_it is None else len(batches) - with_it, told,
        float(2 * stdtr(freedom, -abs(told.value / told.standard_error))),
    )  # fmt: skip


def _can_tell(moved: np.ndarray, recipe: pd.Series, is_yes_no: bool) -> bool:
    """Tell whether enough batches lie on each side, or apart from their recipe's usual."""
    if is_yes_no:
        return bool(min(moved.sum(), (1 - moved).sum()) >= _FEWEST_A_SIDE)
    usual = pd.Series(moved).groupby(recipe.to_numpy()).transform("median").to_numpy()
    return int((np.abs(moved - usual) > 1e-9).sum()) >= _FEWEST_A_SIDE


def among_all(steps: Sequence[tuple[PracticeRise, ...]]) -> tuple[tuple[PracticeRise, ...], ...]:
    """Return the practices of every step with q, those that hold first and the surest first among them."""
    every = [one.p for step in steps for one in step]
    if not every:
        return tuple(steps)
    adjusted = iter(adjusted_p_values(np.array(every)).tolist())
    told = [[replace(one, q=next(adjusted)) for one in step] for step in steps]
    return tuple(tuple(sorted(step, key=lambda one: one.p)) for step in told)
