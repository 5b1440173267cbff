"""What do the checks of one meter say of it, and how is that told?"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta

from analysis.charts import Chart
from analysis.findings.meter_course import Course, State
from analysis.findings.meter_episodes import Episode
from analysis.findings.wording import change, count, day, percent_of_ratio
from analysis.vocabulary import Measure

__all__ = ["Checked", "MeterBias", "bias_in_words", "interval_in_words"]

_WORST_FIRST = (State.DRIFTING, State.SHIFTED, State.TOO_FEW, State.STEADY)


@dataclass(frozen=True, eq=False)
class Checked:
    """One meter's checks of one kind, against zero or against something that holds the quantity.

    ``course`` is in ``unit`` where ``against_zero`` is true and else in natural logs. ``days`` (n,) and ``chart`` hold
    a point a day of checking on that same scale, the limits from the first days of them. ``episodes`` are the stretches
    of time in which the meter was off its first level, on that scale and in days since ``began``.
    """

    against_zero: bool
    unit: str
    checks: int
    course: Course
    began: datetime
    days: tuple[datetime, ...]
    chart: Chart
    episodes: tuple[Episode, ...] = ()

    @property
    def bias(self) -> tuple[float, float, float]:
        """The bias at the last check, low and high [%, or ``unit`` against zero]."""
        told = self.course.level, self.course.low, self.course.high
        if self.against_zero:
            return told
        return tuple(percent_of_ratio(value) for value in told)  # type: ignore[return-value]

    @property
    def bias_unit(self) -> str:
        """The unit of ``bias``."""
        return self.unit if self.against_zero else "%"

    def moment(self, days: float) -> datetime | None:
        """Return a date of the course as one; None where there is none."""
        return None if math.isnan(days) else self.began + timedelta(days=days)

    @property
    def since(self) -> datetime | None:
        """When the present course began; None where it never changed."""
        return self.moment(self.course.since)

    def as_document(self) -> dict[str, object]:
        """Return it as the JSON document has it."""
        bias, low, high = (_number(value) for value in self.bias)
        week = [self.course.per_week, self.course.per_week_low, self.course.per_week_high]
        rates = week if self.against_zero else [percent_of_ratio(value) for value in week]
        return {
            "against": "zero" if self.against_zero else "a reference",
            "checks": self.checks, "bias": bias, "low": low, "high": high, "bias_unit": self.bias_unit,
            "bias_at": self.days[-1].isoformat(), "state": str(self.course.state),
            "since": _iso(self.since), "since_earliest": _iso(self.moment(self.course.earliest)),
            "since_latest": _iso(self.moment(self.course.latest)),
            "per_week": _number(rates[0]), "per_week_low": _number(rates[1]), "per_week_high": _number(rates[2]),
            "step_or_drift_unclear": self.course.either_way,
            "centre": _number(float(self.chart.centre[-1])), "lower": _number(float(self.chart.lower[-1])),
            "upper": _number(float(self.chart.upper[-1])),
            "episodes": [self._episode(one) for one in self.episodes],
            "points": [
                {"at": at.isoformat(), "deviation": float(value), "signals": self._signals(place)}
                for place, (at, value) in enumerate(zip(self.days, self.chart.values, strict=True))
            ],
        }  # fmt: skip

    def _episode(self, one: Episode) -> dict[str, object]:
        """Return when the meter was off its first level, and by how much at the beginning and the end of it."""
        ends = one.until if math.isfinite(one.until) else (self.days[-1] - self.began).total_seconds() / 86_400
        grown = one.starts + one.per_week * (ends - one.begins) / 7
        off = [one.starts, grown] if self.against_zero else [percent_of_ratio(v) for v in (one.starts, grown)]
        return {
            "state": str(one.state), "since": _iso(self.moment(one.begins)),
            "until": _iso(self.moment(one.until)) if math.isfinite(one.until) else None,
            "off_at_first": off[0], "off_at_last": off[1], "unit": self.bias_unit,
        }  # fmt: skip

    def _signals(self, place: int) -> list[str]:
        return [found.rule for found in self.chart.signals.by_rule if place in found.at]


@dataclass(frozen=True, eq=False)
class MeterBias:
    """What the checks say of one meter and quantity; ``span`` or ``zero`` is None where it was never checked so.

    ``readings_since`` counts the readings on record that the meter has made since it left its course.
    """

    meter: str
    measure: Measure
    span: Checked | None
    zero: Checked | None
    readings_since: int
    cautions: tuple[str, ...]

    @property
    def worst(self) -> Checked:
        """The checks that decide what is said of the meter."""
        both = [one for one in (self.span, self.zero) if one is not None]
        return min(both, key=lambda one: _WORST_FIRST.index(one.course.state))

    @property
    def checks(self) -> int:
        """Every check that was used."""
        return sum(one.checks for one in (self.span, self.zero) if one is not None)

    @property
    def state(self) -> State:
        """How the meter behaves now."""
        return self.worst.course.state

    @property
    def sentence(self) -> str:
        """What to know about the meter, in a sentence."""
        told, bias = self.worst, self.worst.bias
        name = f"{self.meter} ({self.measure.label.lower()})"
        by = f"{bias_in_words(bias[0], told.bias_unit)} ({interval_in_words(bias[1], bias[2], told.bias_unit)})"
        against = " against zero" if told.against_zero else ""
        if told.course.state is State.TOO_FEW:
            return f"{name} has {count(self.checks, 'check')}: too few to say whether it is steady."
        if told.course.state is State.STEADY:
            return f"{name} is steady and reads {by} off{against}."
        moved = "has drifted" if told.course.state is State.DRIFTING else "has shifted"
        since = f"since about {day(told.since)}" if told.since else ""
        made = f"; {count(self.readings_since, 'reading')} on record since then" if self.readings_since else ""
        return f"{name} {moved} {since} and now reads {by} off{against}{made}."

    def as_document(self) -> dict[str, object]:
        """Return the row of the JSON document: the reference's bias where there is one, else that against zero."""
        shown = self.span or self.worst
        bias, low, high = (_number(value) for value in shown.bias)
        return {
            "meter": self.meter, "quantity": self.measure.name, "checks": self.checks,
            "bias": bias, "low": low, "high": high, "bias_unit": shown.bias_unit,
            "state": str(self.state), "since": _iso(self.worst.since), "answer": self.sentence,
            "readings_since": self.readings_since, "cautions": list(self.cautions),
            "span": None if self.span is None else self.span.as_document(),
            "zero": None if self.zero is None else self.zero.as_document(),
        }  # fmt: skip


def bias_in_words(value: float, unit: str) -> str:
    """Return a bias with its sign and unit."""
    return change(value, unit)


def interval_in_words(low: float, high: float, unit: str) -> str:
    """Return the two ends of a bias's interval."""
    return f"{bias_in_words(low, unit)} to {bias_in_words(high, unit)}"


def _number(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _iso(moment: datetime | None) -> str | None:
    return None if moment is None else moment.isoformat(timespec="minutes")
