"""Which charts answer what a person asked of the page?"""

from __future__ import annotations

from dataclasses import replace

import pandas as pd

from analysis.findings.baselines import FrozenPhase, frozen_phases
from analysis.findings.counted import PREFIX, TASTE_TESTS, countable, counted
from analysis.findings.filters import Filters
from analysis.findings.practice_verdicts import PracticesFinding
from analysis.findings.practices import practices
from analysis.findings.series import Series
from analysis.findings.series_adjusted import WhatWasDone, what_was_done
from analysis.findings.stability import Stability, stability
from analysis.ledger import snapshot
from analysis.linking import PackTable
from analysis.vocabulary import measure as measure_of
from dashboard.parts.chart_choices import Asked
from dashboard.parts.context import context

__all__ = ["charted", "counted_options", "series_as_measured"]


def charted(asked: Asked, filters: Filters) -> Stability:
    """Return the charts that were asked for, from the baselines that people froze."""
    if asked.measure.startswith(PREFIX) and any(each.name == asked.measure for each in countable(context().packs())):
        phases = tuple(phase for phase in frozen_phases(context().ledger) if phase.measure == asked.measure)
        return context().answer_of_table(_counted, asked.measure, filters, asked.rules, phases)
    done = context().answer_of_table(_done, asked.measure, asked.stage) if asked.drawn == "left" else None
    phases = frozen_phases(context().ledger)
    return context().answer_of_table(_charts, asked.measure, asked.stage, filters, asked.rules, phases, done)


def series_as_measured(asked: Asked, name: str) -> tuple[Series | None, str]:
    """Return the named chart of the runs as measured, over all runs, and its unit; None where there is none."""
    finding = charted(replace(asked, drawn="runs"), Filters())
    found = next((one for one in (*finding.series, *finding.across) if one.name == name), None)
    return found, "" if found is None else found.unit_of(finding.measure)


def _charts(
    table: PackTable,
    measure: str,
    stage: str,
    filters: Filters,
    rules: tuple[str, ...],
    phases: tuple[FrozenPhase, ...],
    done: WhatWasDone | None,
) -> Stability:
    return stability(table, measure, stage, filters, rules, phases, done=done)


def _counted(
    table: PackTable, name: str, filters: Filters, rules: tuple[str, ...], phases: tuple[FrozenPhase, ...]
) -> Stability:
    tests = snapshot(context().ledger, table.state).frame("taste_tests") if name == TASTE_TESTS else pd.DataFrame()
    return counted(table, name, tests, filters, rules, phases)


def counted_options(table: PackTable) -> list[dict[str, str]]:
    """Return what is counted as a select offers it."""
    return [{"value": each.name, "label": f"{each.label} (counted)"} for each in countable(table)]


def _done(table: PackTable, measure: str, stage: str) -> WhatWasDone:
    return what_was_done(table, measure_of(measure), stage, model=_practices)


def _practices(_table: PackTable, measure: str) -> PracticesFinding:
    """Return the finding of practices, shared with their page."""
    return context().answer_of_table(practices, measure, Filters())
