"""On which model does a verdict rest, told to a brewer first and to a statistician after?"""

from __future__ import annotations

import math

from dash import html
from dash.development.base_component import Component

from analysis.findings.practices import PracticesFinding
from analysis.findings.wording import amount, count
from analysis.models import MixedFit
from dashboard.parts.tables import Column, data_table

__all__ = ["model_part"]

_GROUPS = {
    "batch": "between batches",
    "run": "between runs of a batch",
    "tank": "between tanks",
    "line": "between lines",
}


def model_part(finding: PracticesFinding) -> Component | None:
    """Return the model: what it compares, in words; then its formula, rows and variances."""
    if finding.fit is None:
        return None
    return html.Details(
        [
            html.Summary("The model behind the verdicts"),
            html.P(_in_words(finding), className="measure"),
            html.P(["Its formula: ", html.Code(finding.formula)], className="measure"),
            _variances(finding.fit, log=finding.log),
            *_remarks(finding.fit),
        ],
        className="deeper",
    )


def _in_words(finding: PracticesFinding) -> str:
    scale = (
        "It works on logarithms, so that an effect is a share of the level."
        if finding.log
        else "It works in the measure’s own unit."
    )
    return (
        f"It compares {count(finding.packs, 'pack')} of {count(finding.runs, 'run')} from "
        f"{count(finding.batches, 'batch', 'batches')}, each batch with others of its own recipe, so that one recipe "
        f"being brighter than another is never put down to a practice. Packs of one batch are not counted as so many "
        f"batches. {scale}"
    )


def _variances(fit: MixedFit, *, log: bool) -> Component:
    named = [(_GROUPS.get(v.group, f"between levels of {v.group}"), v.variance, f"{v.levels:,}") for v in fit.variances]
    rows = [(where, _spread(variance, log=log), levels) for where, variance, levels in named]
    rows.append(("between packs of a run", _spread(fit.residual_variance, log=log), f"{fit.rows:,}"))
    columns = (Column("Spread"), Column("Standard deviation", kind="figures"), Column("How many", kind="figures"))
    return data_table("Where the spread lies", columns, rows)


def _spread(variance: float, *, log: bool) -> str:
    deviation = math.sqrt(max(variance, 0.0))
    return amount(100 * math.expm1(deviation), "%", digits=2) if log else amount(deviation)


def _remarks(fit: MixedFit) -> list[Component]:
    remarks = []
    if fit.missing:
        remarks.append(f"{count(fit.missing, 'pack')} left out because something the model needs is not on record.")
    if fit.at_zero:
        remarks.append(f"No spread was found for: {', '.join(fit.at_zero)}.")
    if fit.dropped:
        remarks.append(f"Left out because others say the same: {', '.join(fit.dropped)}.")
    return [html.P(remark, className="soft") for remark in remarks]
