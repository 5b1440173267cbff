"""Which baseline does a person ask for, and what is wrong with it?"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import date

from analysis.findings.baselines import FrozenPhase, RunLeftOut
from analysis.findings.series import PhaseShown, Point, Series
from analysis.findings.wording import amount, count, day, listing

__all__ = ["FEWEST_SURE", "limits_in_words", "phase_asked", "points_between", "were_run_by_run", "why_never_frozen"]

FEWEST_SURE = 8
"""Limits from fewer runs than this are not sure."""

_LEAST = 2


def why_never_frozen(series: Series) -> str:
    """Return why a chart has no baseline that could be frozen, or nothing where it has one."""
    if series.recipe is None and series.format is None and series.line is None and series.title:
        return f"{series.title} are held against what guessing alone would give: there is no baseline to freeze."
    return ""


def points_between(series: Series | None, since: date, until: date) -> tuple[Point, ...]:
    """Return the points of a chart from one day to another, both included."""
    return () if series is None else tuple(point for point in series.points if since <= point.at.date() <= until)


def phase_asked(
    measure: str,
    stage: str,
    series: Series,
    days: tuple[date, date],
    because: str,
    by: str,
    *,
    new_phase: bool = False,
    left_out: Sequence[tuple[str, str]] = (),
) -> FrozenPhase | str:
    """Return the phase that was asked for, or a sentence that says what is wrong with it.

    Parameters
    ----------
    measure, stage : str
    series : Series
        The chart over all its runs.
    days : (date, date)
        From the first to the last day of the baseline.
    because, by : str
        Why, and who says so.
    new_phase : bool
        Whether a phase begins with these runs; else they are the baseline of the chart from its first run on.
    left_out : sequence of (run, reason)
    """
    since, until = days
    never = why_never_frozen(series)
    if never:
        return never
    if since > until:
        return "The first day is after the last: change one of them."
    between = {point.run for point in points_between(series, since, until)}
    strange = [run for run, _ in left_out if run not in between]
    if strange:
        return f"Not among the runs of {series.name} from {day(since)} to {day(until)}: {listing(strange)}."
    without = {run for run, _ in left_out}
    used = sum(point.run not in without for point in points_between(series, since, until))
    if used < _LEAST:
        return f"{count(used, 'run')} would be left to make limits from: choose more."
    runs = tuple(RunLeftOut(run, why) for run, why in left_out)
    begins = since if new_phase else None
    return FrozenPhase(
        measure, stage, series.recipe, series.format, begins, since, until, because, by, runs, line=series.line
    )


def limits_in_words(lower: float, upper: float, unit: str) -> str:
    """Return limits in words, of which one or both may be missing (NaN): ``limits 40 to 90 µg/L``."""
    known = [(name, at) for name, at in (("lower", lower), ("upper", upper)) if math.isfinite(at)]
    if len(known) == 2:
        return f"limits {amount(lower)} to {amount(upper, unit)}"
    return f"{known[0][0]} limit {amount(known[0][1], unit)}" if known else "no limits"


def were_run_by_run(phase: PhaseShown, unit: str) -> str:
    """Return what the limits of a baseline were when it was frozen, where they were made from single runs then."""
    if phase.run_by_run is None:
        return ""
    return (
        f"When it was frozen, limits were made run by run, as if each run were a batch: "
        f"{limits_in_words(*phase.run_by_run, unit)}. From the same runs they are now made batch by batch."
    )
