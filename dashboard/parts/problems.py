"""What is wrong with the spreadsheets, told so that a person can mend them without being buried?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from dash import html
from dash.development.base_component import Component

from analysis.findings.wording import count, listing
from analysis.problems import Problem, Severity
from dashboard.parts.tables import Column, data_table

__all__ = ["ProblemGroup", "grouped", "problem_list"]

_SHOWN = 50
_ORDER = (Severity.QUESTION, Severity.REJECTED, Severity.CONFLICT, Severity.NOTE)
_HEADINGS = {
    Severity.QUESTION: "Questions to answer first",
    Severity.REJECTED: "Rejected, with the reason",
    Severity.CONFLICT: "In conflict with what is on record",
    Severity.NOTE: "Taken in, with a remark",
}


@dataclass(frozen=True)
class ProblemGroup:
    """Problems of one sort in one column of one sheet."""

    severity: Severity
    file: str
    sheet: str
    column: str
    problems: tuple[Problem, ...]

    @property
    def place(self) -> str:
        """Where they stand, in words."""
        column = f"column “{self.column}”" if self.column else ""
        return ", ".join(part for part in (" › ".join(p for p in (self.file, self.sheet) if p), column) if part)

    @property
    def rows(self) -> str:
        """The rows they stand in, in words; empty where they concern no row."""
        rows = sorted({problem.row for problem in self.problems if problem.row is not None})
        if not rows:
            return ""
        return f"{'row' if len(rows) == 1 else 'rows'} {listing([str(row) for row in rows])}"


def grouped(problems: Sequence[Problem]) -> tuple[ProblemGroup, ...]:
    """Return problems by sort and place, the most pressing sort first and the largest group first within it."""
    found: dict[tuple[Severity, str, str, str, str], list[Problem]] = {}
    for problem in problems:
        key = (problem.severity, problem.file or "", problem.sheet or "", problem.column or "", problem.code)
        found.setdefault(key, []).append(problem)
    groups = [
        ProblemGroup(severity, file, sheet, column, tuple(members))
        for (severity, file, sheet, column, _), members in found.items()
    ]
    return tuple(sorted(groups, key=lambda group: (_ORDER.index(group.severity), -len(group.problems))))


def problem_list(problems: Sequence[Problem], severities: Sequence[Severity] = _ORDER) -> list[Component]:
    """Return a heading and the groups for each severity that occurs; each group opens to its single problems."""
    groups = grouped(problems)
    parts: list[Component] = []
    for severity in severities:
        members = [group for group in groups if group.severity is severity]
        if members:
            parts.append(html.H3(_HEADINGS[severity]))
            parts.append(
                html.Ul([html.Li(_group(group)) for group in members], className=f"problems problems-{severity}")
            )
    return parts


def _group(group: ProblemGroup) -> Component:
    first = group.problems[0]
    others = len(group.problems) - 1
    more = f" And {count(others, 'other')} like it." if others and _differ(group) else ""
    body = [
        html.P([html.Strong(first.message), more], className="problem-what"),
        html.P(first.remedy, className="problem-remedy"),
        html.P(", ".join(part for part in (group.place, group.rows) if part), className="problem-where"),
    ]
    if len(group.problems) > 1:
        body.append(html.Details([html.Summary(f"All {len(group.problems):,}"), _single(group)], className="more"))
    return html.Div(body)


def _differ(group: ProblemGroup) -> bool:
    return any(problem.message != group.problems[0].message for problem in group.problems)


def _single(group: ProblemGroup) -> Component:
    columns = (
        Column("Row", kind="figures"),
        Column("Value"),
        Column("What is wrong", kind="prose"),
        Column("What to do", kind="prose"),
    )
    rows = [
        ("" if p.row is None else f"{p.row:,}", p.value or "", p.message, p.remedy) for p in group.problems[:_SHOWN]
    ]
    table = data_table(f"Problems in {group.place}", columns, rows)
    left = len(group.problems) - _SHOWN
    if left <= 0:
        return table
    where = " in the file of rejected rows" if group.severity is Severity.REJECTED else " not listed here"
    return html.Div([table, html.P(f"{left:,} more {'is' if left == 1 else 'are'}{where}.", className="soft")])
