"""How is a chart's baseline frozen, listed and taken back at the terminal?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date

from analysis.findings.baseline_requests import limits_in_words, phase_asked, were_run_by_run
from analysis.findings.baselines import SUBJECT, FrozenPhase, freeze, frozen_phases, thaw
from analysis.findings.filters import Filters
from analysis.findings.series import PhaseShown, Series
from analysis.findings.stability import Stability
from analysis.findings.wording import count, day, listing
from analysis.ledger import Ledger
from dashboard.commands.options import complain, print_table, refuse

__all__ = ["Freezing", "days_asked", "froze", "print_phases", "took_back"]

_MOST_NAMED = 20
_HEADERS = ("Number", "Chart", "Begins", "Baseline", "Runs", "Limits", "By", "On", "Because")


@dataclass(frozen=True)
class Freezing:
    """What was asked to be frozen, and by which filters and line the chart is chosen."""

    days: tuple[date, date]
    because: str
    by: str
    filters: Filters
    line: str | None = None
    new_phase: bool = False
    left_out: Sequence[tuple[str, str]] = field(default=())


def days_asked(text: str) -> tuple[date, date]:
    """Return the two days of ``FROM..TO``; end with the exit code of misuse where they are none."""
    parts = text.split("..")
    try:
        since, until = (date.fromisoformat(part.strip()) for part in parts)
    except ValueError:
        refuse(f"--freeze wants two days, FROM..TO, as 2026-01-05..2026-03-31; got “{text}”.")
    return since, until


def froze(ledger: Ledger, finding: Stability, asked: Freezing) -> str:
    """Freeze a baseline, and return what to say of it.

    Parameters
    ----------
    ledger : Ledger
    finding : Stability
        The charts of the measure over all dates.
    asked : Freezing
    """
    series = _chosen(finding, asked)
    phase = phase_asked(
        finding.measure.name, finding.stage, series, asked.days, asked.because, asked.by,
        new_phase=asked.new_phase, left_out=asked.left_out,
    )  # fmt: skip
    if isinstance(phase, str):
        refuse(phase)
    kept = freeze(ledger, phase)
    back = f"dropbright chart {finding.measure.name} --take-back {kept.number} --because TEXT"
    return f"Baseline {kept.number} of {series.name} is frozen; {back} takes it back."


def _chosen(finding: Stability, asked: Freezing) -> Series:
    """Return the one chart that is meant; end with the exit code of misuse where it is none, or several."""
    filters = asked.filters
    if filters.tank is not None:
        refuse("A baseline is frozen over all runs of a chart: leave --tank out.")
    if asked.line is not None and (filters.recipes or filters.format is not None):
        refuse("The chart of a line is across all recipes and formats: leave --recipe and --format out, or --line.")
    if asked.line is not None or not finding.series:
        known = [one for one in finding.across if asked.line is None or one.line == asked.line]
    else:
        known = list(finding.series)
    if len(known) == 1:
        return known[0]
    every = [one.name for one in (*finding.series, *finding.across)]
    if not every:
        refuse(finding.answer)
    which = "say which with --recipe and --format, or --line" if known else "there is no such chart"
    return refuse(f"A baseline is frozen for one chart: {which}. The charts: {'; '.join(every)}.")


def took_back(ledger: Ledger, measure: str, number: int, because: str, by: str) -> str:
    """Take a frozen baseline back, and return what to say of it."""
    standing = {entry.number: entry for entry in ledger.journal(SUBJECT)}
    if number not in standing:
        known = listing([str(each) for each in sorted(standing)], most=_MOST_NAMED) or "none"
        refuse(f"No baseline {number} stands. Standing: {known}.")
    of = str(standing[number].content["measure"])
    if of != measure:
        refuse(f"Baseline {number} is one of {of}: dropbright chart {of} --take-back {number} takes it back.")
    thaw(ledger, number, because, by)
    return f"Baseline {number} is taken back: what stood at its place before stands again."


def print_phases(finding: Stability, ledger: Ledger) -> None:
    """Print which runs each chart's limits come from, and who froze them and why."""
    rows = [
        _row(one, phase, one.unit_of(finding.measure))
        for one in (*finding.series, *finding.across)
        for phase in one.phases
    ]
    print_table(_HEADERS, rows)
    for one in (*finding.series, *finding.across):
        for phase in one.phases:
            before = were_run_by_run(phase, one.unit_of(finding.measure))
            if before:
                complain(f"Baseline {phase.number} of {one.name}: {before}")
    shown = {phase.number for one in (*finding.series, *finding.across) for phase in one.phases}
    own = (finding.measure.name, finding.stage)
    hidden = [p for p in frozen_phases(ledger) if (p.measure, p.stage) == own and p.number not in shown]
    if hidden:
        print_table(("Number", "Frozen for", "Baseline", "By", "Because"), [_hidden(phase) for phase in hidden])


def _row(series: Series, phase: PhaseShown, unit: str) -> list[str]:
    runs = count(phase.runs, "run") + (f" of {count(phase.batches, 'batch', 'batches')}" if phase.batches else "")
    dates = "" if phase.since is None or phase.until is None else f"{day(phase.since)} to {day(phase.until)}"
    return [
        "" if phase.number is None else str(phase.number),
        series.name,
        day(phase.begins),
        dates,
        runs,
        limits_in_words(phase.lower, phase.upper, unit).removeprefix("limits "),
        phase.by or "nobody",
        "" if phase.at is None else day(phase.at),
        phase.because or "",
    ]


def _hidden(phase: FrozenPhase) -> list[str]:
    of = ", ".join(each for each in (phase.recipe, phase.format, phase.line and f"line {phase.line}") if each)
    dates = f"{day(phase.since)} to {day(phase.until)}"
    return [str(phase.number), of or "all recipes", dates, phase.by, phase.because]
