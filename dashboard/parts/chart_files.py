"""How are the points of the charts taken away as a file?"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

import pandas as pd

from analysis.findings.export import ExportNote, Form, export_table
from analysis.findings.filters import Filters
from analysis.findings.stability import Stability
from analysis.vocabulary import STAGES
from dashboard.parts import exports
from dashboard.parts.chart_choices import asked_of
from dashboard.parts.charted import charted

__all__ = ["points_frame", "take_away"]


def take_away(filters: Filters, asked: Mapping[str, str], form: Form) -> bytes:
    """Return every point of every chart of a measure as a file."""
    name, stage = asked.get("measure", ""), asked.get("stage", "pack")
    asked_now = asked_of(name, stage, "")
    if asked_now is None or stage not in STAGES:
        raise exports.NothingToTakeError
    finding = charted(asked_now, filters)
    unit = finding.measure.unit
    note = ExportNote(
        f"Control charts of {finding.measure.label}",
        finding.ledger_state,
        filters.in_words(),
        dict.fromkeys(("value", "centre", "lower", "upper"), unit),
        finding.cautions,
        datetime.now(),
    )
    return export_table(points_frame(finding), note, form)


def points_frame(finding: Stability) -> pd.DataFrame:
    """Return every point of the charts by recipe and format, with its chart's centre and limits."""
    rows: list[dict[str, Any]] = [
        {
            "series": one.name,
            "recipe": one.recipe,
            "format": one.format,
            "packed_at": point.at,
            "run": point.run,
            "batch": point.batch,
            "value": point.value,
            "sign": {-1: "<", 1: ">"}.get(point.censored, ""),
            "centre": point.centre,
            "lower": point.lower,
            "upper": point.upper,
            "in_baseline": point.in_baseline,
            "signals": ", ".join(point.signals),
        }
        for one in finding.series or finding.across
        for point in one.points
    ]
    return pd.DataFrame(rows)
