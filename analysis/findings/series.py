"""What does one chart of runs hold: its points, limits and signals, and the moves of its level?"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

import pandas as pd

from analysis.findings.series_batches import SeveralRuns
from analysis.findings.series_targets import TargetsKept
from analysis.findings.wording import percent
from analysis.vocabulary import Measure, Scale

__all__ = ["IfSlow", "Move", "PhaseShown", "Point", "RestsOn", "Series", "SignalFound", "or_none"]


@dataclass(frozen=True)
class Point:
    """One run on the chart: its value [the measure's kept unit] and the codes of the rules that it completes.

    ``centre``, ``lower`` and ``upper`` are its phase's, NaN where there is none.
    """

    run: str | None
    batch: str
    at: pd.Timestamp
    value: float
    censored: int
    packs: int
    in_baseline: bool
    signals: tuple[str, ...]
    centre: float = math.nan
    lower: float = math.nan
    upper: float = math.nan

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
            "centre": or_none(self.centre),
            "lower": or_none(self.lower),
            "upper": or_none(self.upper),
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
class RestsOn:
    """The recipe that most of a move across recipes is, and what would be left of it without that one [%]."""

    recipe: str
    percent_without: float

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        return {"recipe": self.recipe, "percent_without": or_none(self.percent_without)}


@dataclass(frozen=True)
class IfSlow:
    """What a move would be in all, were it a slow one: [%] with its 95 % interval; NaN where there is no percent."""

    percent: float
    low: float
    high: float

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document of the command line has it."""
        return {"percent": or_none(self.percent), "low": or_none(self.low), "high": or_none(self.high)}


@dataclass(frozen=True)
class Move:
    """A move of the level: the first run at the new level and the dates between which that run lies.

    ``before`` and ``after`` are the levels [kept unit], ``percent`` the change with its 95 % interval ``low`` to
    ``high`` [%]; NaN where the old level of a linear measure is 0. ``gradual`` is true where a slow climb or fall tells
    the runs plainly better than a step: ``at`` is then where it begins, ``ends`` where it is over; ``may_be_gradual``
    where the runs do not tell the two apart. ``coincides_with`` lists what else changed then. ``rests_on`` names the
    recipe that a move across recipes mostly is, None where it is of several. ``if_slow`` is what a move that may be
    gradual would be in all if it were, None else: a step between two mean levels is then too small a size.
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
    gradual: bool
    coincides_with: tuple[str, ...]
    may_be_gradual: bool = False
    ends: pd.Timestamp | None = None
    rests_on: RestsOn | None = None
    if_slow: IfSlow | None = None

    def undecided(self) -> str:
        """Return that the runs do not tell a step from a climb, and how large a climb; empty where they do."""
        if not self.may_be_gradual or self.gradual:
            return ""
        slow = self.if_slow
        if slow is None or not math.isfinite(slow.percent):
            return "Whether at once or slowly the runs do not tell."
        interval = f"95 % interval {percent(slow.low)} to {percent(slow.high)}"
        return (
            f"Whether at once or slowly the runs do not tell; if slowly, it is {percent(slow.percent)} in all "
            f"({interval})."
        )

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
            "gradual": self.gradual,
            "may_be_gradual": self.may_be_gradual,
            "if_slow": None if self.if_slow is None else self.if_slow.as_document(),
            "ends": None if self.ends is None else self.ends.isoformat(),
            "coincides_with": list(self.coincides_with),
            "rests_on": None if self.rests_on is None else self.rests_on.as_document(),
        }


@dataclass(frozen=True)
class PhaseShown:
    """One phase of a series: when it begins, its baseline and limits, and who froze it for which reason and when.

    ``because``, ``by`` and ``at`` are None where nobody has frozen it: the baseline is then the first runs, whatever
    they were. ``number`` is its entry in the ledger's journal. ``left_out`` pairs a run with the reason why the
    baseline does without it. ``batches`` is how many batches the baseline's ``runs`` are, where one has several runs,
    and 0 else; ``run_by_run`` are the limits as they stood when it was frozen, None unless that was before limits were
    made batch by batch.
    """

    begins: pd.Timestamp
    since: pd.Timestamp | None
    until: pd.Timestamp | None
    runs: int
    centre: float
    lower: float
    upper: float
    because: str | None
    by: str | None
    left_out: tuple[tuple[str, str], ...] = ()
    at: datetime | None = None
    number: int | None = None
    batches: int = 0
    run_by_run: tuple[float, float] | None = None

    def as_document(self) -> dict[str, object]:
        """Return the phase as the JSON document of the command line has it."""
        return {
            "begins": self.begins.isoformat(),
            "baseline": self.baseline_document(),
            "centre": or_none(self.centre),
            "lower": or_none(self.lower),
            "upper": or_none(self.upper),
            "because": self.because,
            "by": self.by,
            "left_out": [{"run": run, "because": because} for run, because in self.left_out],
            "number": self.number,
            "limits_run_by_run": None if self.run_by_run is None else [or_none(limit) for limit in self.run_by_run],
        }

    def baseline_document(self) -> dict[str, object]:
        """Return the baseline as the JSON document of the command line has it."""
        return {
            "from": None if self.since is None else self.since.isoformat(),
            "to": None if self.until is None else self.until.isoformat(),
            "n": self.runs,
            "batches": self.batches or self.runs,
            "frozen": self.because is not None,
            "because": self.because,
            "by": self.by,
            "frozen_at": None if self.at is None else self.at.isoformat(),
        }


@dataclass(frozen=True)
class Series:
    """One chart: a recipe in a format, or a line's runs across recipes (``recipe`` None, in sigmas).

    ``centre``, ``lower`` and ``upper`` are the last phase's, in the unit of the values, NaN where there is none;
    ``why_not`` says why there are no limits, None where there are. ``points`` are those of the dates asked about;
    ``baseline`` has the points of the last phase's baseline, shown or not. ``correlation`` is the memory from one run
    to the next, NaN where the series is too short to tell it; where it matters, ``after_memory`` charts what is left of
    each point once it is taken out (differences on the series' scale), and is empty else. ``suggestion`` asks for a new
    phase where the level has stayed away from its baseline, None else. ``targets`` says how the runs keep within the
    targets on record, None where there is none. ``charted`` says what a point is where it is not the run's value, and
    ``unit`` in which unit it then is: None for the measure's, or for sigmas across recipes. ``title`` names a series
    that is of neither a recipe nor a line. ``several_runs`` is what is known of its batches, None where each has one
    run.
    """

    recipe: str | None
    format: str | None
    line: str | None
    scale: Scale
    centre: float
    lower: float
    upper: float
    points: tuple[Point, ...]
    baseline: tuple[Point, ...]
    signals: tuple[SignalFound, ...]
    moves: tuple[Move, ...]
    phases: tuple[PhaseShown, ...]
    why_not: str | None
    correlation: float
    after_memory: tuple[Point, ...]
    suggestion: str | None
    targets: TargetsKept | None
    cautions: tuple[str, ...]
    charted: str = ""
    unit: str | None = None
    title: str = ""
    several_runs: SeveralRuns | None = None

    def unit_of(self, measure: Measure) -> str:
        """Return the unit that its points are counted in."""
        if self.unit is not None:
            return self.unit
        return measure.unit if self.recipe is not None else "σ"

    def charted_as(
        self,
        points: tuple[Point, ...],
        signals: Iterable[SignalFound],
        *,
        charted: str,
        unit: str | None,
        scale: Scale = "linear",
        cautions: tuple[str, ...] = (),
    ) -> Series:
        """Return a chart of something made of these runs: its own points and signals, and none of what else was told.

        ``charted`` says in words what is charted, ``unit`` in what (None for the measure's own unit).
        """
        return replace(
            self,
            points=points,
            baseline=tuple(point for point in points if point.in_baseline),
            centre=points[-1].centre,
            lower=points[-1].lower,
            upper=points[-1].upper,
            scale=scale,
            signals=tuple(signals),
            moves=(),
            after_memory=(),
            suggestion=None,
            targets=None,
            cautions=cautions,
            several_runs=None,
            charted=charted,
            unit=unit,
        )

    @property
    def kinds_of_limits(self) -> int:
        """How many different pairs of limits its points have: more than its phases where each run has its own."""
        return len({(or_none(point.lower), or_none(point.upper)) for point in self.points})

    @property
    def name(self) -> str:
        """The series in words: ``P40, can``, or ``line 1, all recipes``."""
        if self.title:
            return self.title
        if self.recipe is None:
            return "all recipes" if self.line is None else f"line {self.line}, all recipes"
        return self.recipe if self.format is None else f"{self.recipe}, {self.format}"

    def as_document(self) -> dict[str, object]:
        """Return the series as the JSON document of the command line has it."""
        nothing = {"from": None, "to": None, "n": 0}
        return {
            "recipe": self.recipe,
            "format": self.format,
            "line": self.line,
            "name": self.name,
            "baseline": self.phases[-1].baseline_document() if self.phases else nothing,
            "centre": or_none(self.centre),
            "lower": or_none(self.lower),
            "upper": or_none(self.upper),
            "scale": self.scale,
            "points": [point.as_document() for point in self.points],
            "signals": [signal.as_document() for signal in self.signals],
            "shifts": [move.as_document() for move in self.moves],
            "phases": [phase.as_document() for phase in self.phases],
            "why_no_limits": self.why_not,
            "correlation": or_none(self.correlation),
            "after_memory": [point.as_document() for point in self.after_memory],
            "suggestion": self.suggestion,
            "several_runs_a_batch": None if self.several_runs is None else self.several_runs.as_document(),
            "targets": None if self.targets is None else self.targets.as_document(),
            "cautions": list(self.cautions),
        }


def or_none(value: float) -> float | None:
    """Return the value, or None where it is not a number: JSON has no NaN."""
    return value if math.isfinite(value) else None
