"""What is told of the oxygen on its way to the pack?"""

from __future__ import annotations

import math
from dataclasses import dataclass

from analysis.estimate import Estimate
from analysis.findings.filters import Filters
from analysis.findings.late_packs import LatePacks
from analysis.findings.pickup_points import PointPassed
from analysis.findings.pickup_practices import PracticeRise
from analysis.findings.pickup_rises import GroupRise
from analysis.findings.wording import change, span

__all__ = ["UNIT", "Balance", "Level", "PickupFinding", "Step"]

UNIT = "µg/L"


@dataclass(frozen=True)
class Level:
    """Oxygen at a stage: the median over batches with the middle half [µg/L]; ``below`` counts those read as "<"."""

    stage: str
    label: str
    batches: int
    median: float
    quarter: float
    three_quarters: float
    below: int


@dataclass(frozen=True)
class Step:
    """The rise of oxygen over one step [µg/L].

    ``rise`` is None where fewer than three batches were read on both sides. ``falls`` counts the batches whose reading
    fell, which yeast does, or a reading's own error where it is small. ``two_meters`` counts those whose two ends
    different meters read.
    """

    step: str
    label: str
    batches: int
    rise: Estimate | None
    falls: int
    two_meters: int
    groups: tuple[GroupRise, ...]
    practices: tuple[PracticeRise, ...]


@dataclass(frozen=True)
class Balance:
    """Where the oxygen of the pack came from, over the ``batches`` that were read at filler and in the pack [µg/L].

    ``in_tank`` was in the beer before the filler, where it was read; ``at_filler`` in the beer as it reached the
    filler; ``closing`` came in from there to the closed pack and headspace. ``accounted`` is the share of the pack's
    oxygen that the readings before closing account for, with its 95 % interval.
    """

    batches: int
    pack: float
    in_tank: float
    at_filler: float
    closing: float
    accounted: Estimate


@dataclass(frozen=True)
class PickupFinding:
    """The rises, the levels, the points that pass their limits, and the pack's balance."""

    question: str
    answer: str
    cautions: tuple[str, ...]
    ledger_state: int
    filters: Filters
    levels: tuple[Level, ...]
    steps: tuple[Step, ...]
    points: tuple[PointPassed, ...]
    balance: Balance | None
    late: LatePacks | None = None

    def as_document(self) -> dict[str, object]:
        """Return the JSON document of the command line."""
        return {
            "question": self.question, "answer": self.answer, "unit": UNIT,
            "levels": [
                {"stage": one.stage, "batches": one.batches, "median": one.median, "quarter": one.quarter,
                 "three_quarters": one.three_quarters, "below_limit": one.below}
                for one in self.levels
            ],
            "steps": [_step_document(step) for step in self.steps],
            "points": [
                {"point": p.limit.point, "label": p.limit.label, "kind": p.limit.kind, "limit": p.good,
                 "limit_to": p.good_to, "limit_is": "the brewery's" if p.own_target else "a working target",
                 "set_by": p.whose or None, "batches": p.batches, "passed": p.passed, "share": p.share, "low": p.low,
                 "high": p.high, "act_above": p.act, "acted": p.acted}
                for p in self.points
            ],
            "balance": None if self.balance is None else _balance_document(self.balance),
            "late_packs": None if self.late is None else self.late.as_document(),
            "cautions": list(self.cautions), "ledger_state": self.ledger_state, "filters": self.filters.as_document(),
        }  # fmt: skip

    def in_words(self) -> tuple[list[str], list[list[str]]]:
        """Return headers and a row a step and group as text, for a terminal."""
        headers = ["Step", "Of", "Batches", f"Rise [{UNIT}]", "95 % interval", "Fell"]
        rows = []
        for step in self.steps:
            rows.append([step.label, "all", str(step.batches), *_told(step.rise), str(step.falls)])
            rows += [["", f"{g.by} {g.value}", str(g.batches), *_told(g.rise), ""] for g in step.groups]
            rows += [
                [
                    "",
                    f"{p.label}: {p.step}{'' if p.holds else ' (may be chance)'}",
                    _compared(p),
                    *_told(p.difference),
                    "",
                ]
                for p in step.practices
            ]
        return headers, rows


def _compared(practice: PracticeRise) -> str:
    if practice.with_it is None:
        return str(practice.batches)
    return f"{practice.with_it} / {practice.without_it}"


def _told(rise: Estimate | None) -> tuple[str, str]:
    return ("", "") if rise is None else (change(rise.value), span(rise.low, rise.high))


def _step_document(step: Step) -> dict[str, object]:
    return {
        "step": step.step, "label": step.label, "batches": step.batches, **_interval(step.rise), "falls": step.falls,
        "two_meters": step.two_meters,
        "groups": [{"by": g.by, "value": g.value, "batches": g.batches, **_interval(g.rise)} for g in step.groups],
        "practices": [
            {"practice": p.practice, "step": p.step, "batches": p.batches, "with_it": p.with_it,
             "without_it": p.without_it, **_interval(p.difference), "p": p.p, "q": p.q, "holds": p.holds}
            for p in step.practices
        ],
    }  # fmt: skip


def _interval(rise: Estimate | None) -> dict[str, float | None]:
    if rise is None:
        return {"rise": None, "low": None, "high": None}
    return {"rise": rise.value, "low": rise.low, "high": rise.high}


def _balance_document(balance: Balance) -> dict[str, object]:
    share = balance.accounted
    return {
        "batches": balance.batches, "pack": balance.pack,
        "in_tank": None if math.isnan(balance.in_tank) else balance.in_tank, "at_filler": balance.at_filler,
        "closing": balance.closing,
        "accounted": {"share": share.value, "low": share.low, "high": share.high},
    }  # fmt: skip
