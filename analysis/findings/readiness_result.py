"""What is told of a tank that is to become clear?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import pandas as pd

from analysis.estimate import Estimate
from analysis.findings.filters import Filters
from analysis.findings.haze_kinds import HazeKinds
from analysis.findings.readiness_changes import Change
from analysis.findings.readiness_check import Checked, HeldOut
from analysis.findings.wording import amount, day
from analysis.haze import haze_class

__all__ = ["Day", "Readiness"]


@dataclass(frozen=True)
class Day:
    """What is expected at one moment.

    ``expected`` is the beer's haze, ``low`` to ``high`` the interval of a reading of it [EBC]; ``chance`` that the beer
    lies in its target, NaN where it has none.
    """

    at: datetime
    expected: float
    low: float
    high: float
    chance: float


@dataclass(frozen=True)
class Readiness:
    """The forecast of one tank.

    ``read`` has the tank's haze readings since its last rouse or dose (``measured_at``, ``haze`` [EBC], ``hours`` [h]).
    ``lower`` and ``upper`` are the recipe's target [EBC], None where there is none. ``ready_on`` is the first day on
    which the target is met with ``confidence`` and ``until`` the last in that row of days, None where it is met to the
    end of the forecast or never. ``kinds`` tells permanent from chill haze. ``stokes`` is how far a single yeast cell
    sinks in still beer [mm/h], a bound only.
    """

    question: str
    answer: str
    cautions: tuple[str, ...]
    ledger_state: int
    filters: Filters
    batch: str
    recipe: str
    tank: str
    as_of: datetime | None
    stirred_at: datetime | None
    read: pd.DataFrame
    lower: float | None
    upper: float | None
    confidence: float
    ready_on: datetime | None
    until: datetime | None
    days: tuple[Day, ...]
    settling_hours: float
    changes: tuple[Change, ...]
    checked: Checked | None
    pack_over_tank: Estimate | None
    stokes: float
    in_tank: tuple[str, ...]
    kinds: HazeKinds | None

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        checked, ratio = self.checked, self.pack_over_tank
        return {
            "question": self.question, "answer": self.answer, "batch": self.batch, "recipe": self.recipe,
            "tank": self.tank, "as_of": _iso(self.as_of), "stirred_at": _iso(self.stirred_at), "unit": "EBC",
            "readings": [
                {"at": row["measured_at"].isoformat(), "haze": float(row["haze"]), "hours": float(row["hours"])}
                for _, row in self.read.iterrows()
            ],
            "target": {"lower": self.lower, "upper": self.upper}, "confidence": self.confidence,
            "ready_on": _iso(self.ready_on), "until": _iso(self.until),
            "forecast": [
                {"at": d.at.isoformat(timespec="minutes"), "expected": d.expected, "low": d.low, "high": d.high,
                 "chance": None if math.isnan(d.chance) else d.chance}
                for d in self.days
            ],
            "settling_hours": None if math.isnan(self.settling_hours) else self.settling_hours,
            "changes": [
                {"practice": c.practice, "step": c.step_unit, "effect_percent": c.percent, "low": c.low,
                 "high": c.high, "verdict": c.verdict, "stirs": c.stirs, "ready_on": _iso(c.ready_on)}
                for c in self.changes
            ],
            "checked": None if checked is None else {**_score(checked.read), "unread": _score(checked.unread),
                                                     "stretch": checked.stretch(len(self.read))},
            "pack_over_tank": None if ratio is None else {"value": ratio.value, "low": ratio.low, "high": ratio.high},
            "stokes_mm_per_hour": self.stokes, "in_tank": list(self.in_tank), "cautions": list(self.cautions),
            "permanent_and_chill": None if self.kinds is None else self.kinds.as_document(),
            "ledger_state": self.ledger_state,
        }  # fmt: skip

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return the forecast as headers and rows of text, a row a day."""
        headers = ["Day", "Expected [EBC]", f"A reading, {100 * self.confidence:.0f} %", "Class", "Target met"]
        return headers, [_row(each) for each in self.days]


def _score(held: HeldOut) -> dict[str, object]:
    return {
        "readings": held.seen, "batches": held.batches, "held": held.held, "level": held.level, "low": held.low,
        "high": held.high,
    }  # fmt: skip


def _row(each: Day) -> list[str]:
    called = haze_class(each.expected)
    chance = "" if math.isnan(each.chance) else f"{100 * each.chance:.0f} %"
    return [
        day(each.at), amount(each.expected), f"{amount(each.low)} to {amount(each.high)}",
        called.name if called else "", chance,
    ]  # fmt: skip


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="minutes")
