"""What did taking the files in change?"""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from analysis.findings.ledger_changes import commit_in_words
from analysis.ledger import Commit, Counts
from analysis.records.kinds import KINDS
from dashboard.parts.problems import problem_list
from dashboard.parts.tables import Column, data_table

__all__ = ["taken_parts"]


def taken_parts(commit: Commit) -> Component:
    """Return what is said once an intake is on record: a sentence, the counts by kind, what contradicts, what next."""
    rows = [_counted(kind, counts) for kind, counts in commit.counts.items()]
    columns = (
        Column("Records"),
        *(Column(label, kind="figures") for label in ("New", "Corrected", "As on record", "In conflict")),
    )
    return html.Div(
        className="done",
        children=[
            html.P(commit_in_words(commit), className="answer"),
            data_table("What the intake changed", columns, rows) if rows else None,
            *problem_list(commit.problems),
            html.P(
                [
                    "Look at the ",
                    dcc.Link("packs", href="/packs"),
                    ", the ",
                    dcc.Link("control charts", href="/charts"),
                    " or the ",
                    dcc.Link("practices", href="/practices"),
                    ".",
                ]
            ),
        ],
    )


def _counted(kind: str, counts: Counts) -> tuple[str, ...]:
    label = KINDS[kind].label if kind in KINDS else kind
    numbers = (counts.added, counts.updated, counts.unchanged, counts.conflicting)
    return (label, *(f"{number:,}" for number in numbers))
