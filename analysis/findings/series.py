"""What does one chart of runs hold: its points, limits and signals, and the moves of its level?"""

from __future__ import annotations

import math
from dataclasses import dataclass

import pandas as pd

from analysis.vocabulary import Scale

__all__ = ["Move", "Point", "Series", "SignalFound", "or_none"]


@dataclass(frozen=True)
class Point:
    """One run on the chart: its value [the measure's kept unit] and the codes of the rules that it completes."""

    run: str | None
    batch: str
    at: pd.Timestamp
    value: float
    censored: int
    packs: int
    in_baseline: bool
    signals: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        """Return the point as the JSON document of the command line has it."""
        return {
            "run": self.run,
            "batch": self.batch,
            "at": self.at.isoformat(),
            "value": self.value,
            "censored": {-1: "<", 0: None, 1: ">"}[self.censored],
            "packs": self.packs,
            "baseline": self.in_baseline,
            "signals": list(self.signals),
        }


@dataclass(frozen=True)
class SignalFound:
    """One pattern: the rule's code and words, the points (from 0) that start and complete it, its side."""

    rule: str
    says: str
    start: int
    at: int
    side: int

    def as_document(self) -> dict[str, object]:
        """Return the signal as a JSON document has it."""
        return {"rule": self.rule, "says": self.says, "start": self.start, "at": self.at, "side": self.side}


@dataclass(frozen=True)
class Move:
    """A move of the level: the first run at the new level and the dates between which that run lies.

    ``before`` and ``after`` are the levels [kept unit], ``percent`` the change with its 95 % interval ``low`` to
    ``high`` [%]; NaN where the old level of a linear measure is 0. ``coincides_with`` lists what else changed then.
    """

    at: pd.Timestamp
    earliest: pd.Timestamp
    latest: pd.Timestamp
    point: int
    before: float
    after: float
    percent: float
    low: float
    high: float
    coincides_with: tuple[str, ...]

    def as_document(self) -> dict[str, object]:
        """Return the move as the JSON document of the command line has it."""
        return {
            "at": self.at.isoformat(),
            "earliest": self.earliest.isoformat(),
            "latest": self.latest.isoformat(),
            "point": self.point,
            "before": self.before,
            "after": self.after,
            "percent": or_none(self.percent),
            "percent_low": or_none(self.low),
            "percent_high": or_none(self.high),
            "coincides_with": list(self.coincides_with),
        }


@dataclass(frozen=True)
class Series:
    """One chart: a recipe in a format, or a line's runs across recipes (``recipe`` None, in sigmas).

    ``centre``, ``lower`` and ``upper`` are in the unit of the values, NaN where there is none; ``why_not`` says why
    there are no limits, None where there are. ``correlation`` is the memory from one run to the next, NaN where the
    series is too short to tell it.
    """

    recipe: str | None
    format: str | None
    line: str | None
    scale: Scale
    centre: float
    lower: float
    upper: float
    points: tuple[Point, ...]
    signals: tuple[SignalFound, ...]
    moves: tuple[Move, ...]
    why_not: str | None
    correlation: float
    cautions: tuple[str, ...]

    @property
    def name(self) -> str:
        """The series in words: ``P40, can``, or ``line 1, all recipes``."""
        if self.recipe is None:
            return "all recipes" if self.line is None else f"line {self.line}, all recipes"
        return self.recipe if self.format is None else f"{self.recipe}, {self.format}"

    @property
    def baseline(self) -> tuple[Point, ...]:
        """The points that the limits are made from."""
        return tuple(point for point in self.points if point.in_baseline)

    def as_document(self) -> dict[str, object]:
        """Return the series as the JSON document of the command line has it."""
        baseline = self.baseline
        return {
            "recipe": self.recipe,
            "format": self.format,
            "line": self.line,
            "baseline": {
                "from": baseline[0].at.isoformat() if baseline else None,
                "to": baseline[-1].at.isoformat() if baseline else None,
                "n": len(baseline),
            },
            "centre": or_none(self.centre),
            "lower": or_none(self.lower),
            "upper": or_none(self.upper),
            "scale": self.scale,
            "points": [point.as_document() for point in self.points],
            "signals": [signal.as_document() for signal in self.signals],
            "shifts": [move.as_document() for move in self.moves],
            "why_no_limits": self.why_not,
            "correlation": or_none(self.correlation),
            "cautions": list(self.cautions),
        }


def or_none(value: float) -> float | None:
    """Return the value, or None where it is not a number: JSON has no NaN."""
    return value if math.isfinite(value) else None
