"""At which point of the way does oxygen most often pass what it should be?"""

from __future__ import annotations

from dataclasses import dataclass

import pandas as pd
from scipy.stats import binomtest

from analysis.findings.oxygen_steps import OxygenSteps
from analysis.findings.series_targets import target_limits

__all__ = ["WORKING_LIMITS", "PointPassed", "WorkingLimit", "points_passed"]


@dataclass(frozen=True)
class WorkingLimit:
    """What is good and what calls for action at a point [µg/L], a rise or a level."""

    point: str
    label: str
    kind: str
    good: float
    act: float


WORKING_LIMITS = (
    WorkingLimit("fermenter", "end of fermentation", "level", 30, 50),
    WorkingLimit("rouse", "a rouse", "rise", 20, 30),
    WorkingLimit("racking", "the transfer to the bright tank", "rise", 20, 30),
    WorkingLimit("bright_tank", "bright tank", "level", 30, 50),
    WorkingLimit("closing", "filling and closing", "rise", 50, 100),
    WorkingLimit("pack", "the closed pack", "level", 100, 150),
)
"""Working targets from memory, of low to medium confidence: settings to start from, never law."""


@dataclass(frozen=True)
class PointPassed:
    """How often a point was above its limit.

    ``limit`` [µg/L] is the brewery's own where ``own_target`` is true, else a working one. ``share`` with its 95 %
    interval is of ``batches``; ``acted`` counts those above the level that calls for action.
    """

    limit: WorkingLimit
    good: float
    own_target: bool
    batches: int
    passed: int
    acted: int
    low: float
    high: float

    @property
    def share(self) -> float:
        """Share of the batches above the limit."""
        return self.passed / self.batches


def points_passed(steps: OxygenSteps, targets: pd.DataFrame) -> tuple[PointPassed, ...]:
    """Return how often each point was above its limit, the most often first; points that were not read are left out.

    A reading or rise that is known between two ends counts as above only where its lower end is.
    """
    own = target_limits(targets, "total_oxygen", None, None)
    found = []
    for limit in WORKING_LIMITS:
        values = _values(steps, limit)
        if not len(values):
            continue
        set_by_brewery = limit.point == "pack" and own is not None and own.upper is not None
        good = float(own.upper) if set_by_brewery and own is not None and own.upper is not None else limit.good
        passed, acted = int((values > good).sum()), int((values > max(limit.act, good)).sum())
        exact = binomtest(passed, len(values)).proportion_ci(0.95, method="exact")
        counts = len(values), passed, acted
        found.append(PointPassed(limit, good, set_by_brewery, *counts, float(exact.low), float(exact.high)))
    return tuple(sorted(found, key=lambda point: -point.share))


def _values(steps: OxygenSteps, limit: WorkingLimit) -> pd.Series:
    """Return the least that each batch's value can be [µg/L]."""
    if limit.kind == "rise":
        own = steps.rises[steps.rises["step"] == limit.point]
        return own.groupby("batch")["low"].mean()
    own = steps.levels[steps.levels["stage"] == limit.point]
    least = own["value"].where(own["censored"] == 0, 0.0)
    return least.groupby(own["batch"]).mean()
