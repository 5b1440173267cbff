"""At which point of the way does oxygen most often pass what it should be?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import binomtest

from analysis.findings.oxygen_limits import WORKING_LIMITS, OwnLimit, WorkingLimit
from analysis.findings.oxygen_steps import OxygenSteps
from analysis.findings.series_targets import target_limits
from analysis.findings.wording import amount

__all__ = ["PointPassed", "limit_in_words", "points_passed"]


@dataclass(frozen=True)
class PointPassed:
    """How often a point was above its limit.

    Batches are held to ``good`` to ``good_to`` [µg/L], which differ where recipes or formats have targets of their own;
    these are the brewery's own where ``own_target`` is true, set by ``whose`` ("" where the targets on record say it),
    else working ones. ``share`` with its 95 % interval is of ``batches``; ``acted`` counts those above ``act``, the
    level that calls for action.
    """

    limit: WorkingLimit
    good: float
    good_to: float
    act: float
    own_target: bool
    whose: str
    batches: int
    passed: int
    acted: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Share of the batches above the limit."""
        return self.passed / self.batches


def points_passed(steps: OxygenSteps, targets: pd.DataFrame, own: Sequence[OwnLimit] = ()) -> tuple[PointPassed, ...]:
    """Return how often each point was above its limit, the most often first; points that were not read are left out.

    A reading or rise that is known between two ends counts as above only where its lower end is. The limit is what the
    brewery decided for that point; for the closed pack else the target on record for its recipe and format; else a
    working one.

    Parameters
    ----------
    steps : OxygenSteps
    targets : DataFrame
        The targets on record.
    own : sequence of OwnLimit
        What the brewery decided.
    """
    decided = {limit.point: limit for limit in own}
    found = []
    for limit in WORKING_LIMITS:
        values = _values(steps, limit)
        if not len(values):
            continue
        mine = decided.get(limit.point)
        good, on_record = _good(values, limit, mine, targets)
        act = np.maximum(limit.act if mine is None else mine.act, good)
        passed, acted = int((values["least"] > good).sum()), int((values["least"] > act).sum())
        exact = binomtest(passed, len(values)).proportion_ci(0.95, method="exact")
        found.append(
            PointPassed(
                limit, float(good.min()), float(good.max()), float(act.min()), mine is not None or on_record,
                "" if mine is None else mine.by, len(values), passed, acted, float(exact.low), float(exact.high),
            )
        )  # fmt: skip
    return tuple(sorted(found, key=lambda point: -point.share))


def limit_in_words(point: PointPassed, unit: str = "µg/L") -> str:
    """Return a point's limit, as a range where recipes or formats differ in it."""
    if point.good == point.good_to:
        return amount(point.good, unit)
    return f"{amount(point.good)} to {amount(point.good_to, unit)}"


def _good(
    values: pd.DataFrame, limit: WorkingLimit, mine: OwnLimit | None, targets: pd.DataFrame
) -> tuple[NDArray[np.float64], bool]:
    """Return each batch's limit, and whether all of them are on record as targets."""
    if mine is not None or limit.point != "pack":
        return np.full(len(values), limit.good if mine is None else mine.good), False
    pairs = {
        pair: target_limits(targets, "total_oxygen", *pair)
        for pair in dict.fromkeys(zip(values["recipe"], values["format"], strict=True))
    }
    uppers = [pairs[pair] for pair in zip(values["recipe"], values["format"], strict=True)]
    known = [None if each is None else each.upper for each in uppers]
    good = np.array([limit.good if upper is None else upper for upper in known], dtype=np.float64)
    return good, all(upper is not None for upper in known)


def _values(steps: OxygenSteps, limit: WorkingLimit) -> pd.DataFrame:
    """Return the least that each batch's value can be [µg/L], with its ``recipe`` and ``format``."""
    if limit.kind == "rise":
        own = steps.rises[steps.rises["step"] == limit.point]
        own = own.assign(least=own["low"])
    else:
        own = steps.levels[steps.levels["stage"] == limit.point]
        own = own.assign(least=own["value"].where(own["censored"] == 0, 0.0))
    own = own.reindex(columns=["batch", "recipe", "format", "least"])
    told = own.groupby("batch").agg(recipe=("recipe", "first"), format=("format", "first"), least=("least", "mean"))
    return told.astype({"recipe": object, "format": object}).where(told.notna(), None).astype({"least": float})
