"""What would be taken in, and what has to be answered first?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analysis.findings.wording import count
from analysis.problems import Problem, Severity
from analysis.records import Intake, Question, SheetIntake
from analysis.records.faults import ANY_HEADER
from analysis.records.kinds import KINDS
from dashboard.parts.answers import control_id, sheet_key
from dashboard.parts.problems import problem_list
from dashboard.parts.tables import Column, data_table

__all__ = ["Review", "closer_id", "question_list", "remark_parts", "review", "review_parts"]

_CHOICES: Mapping[tuple[str, str], str] = {
    ("dates", "day-month"): "Day first: 4/3 is 4 March",
    ("dates", "month-day"): "Month first: 4/3 is 3 April",
    ("dates", "year-month-day"): "Year first: 26-03-04 is 4 March 2026",
    ("angles", "90"): "90° (side scatter)",
    ("angles", "forward"): "A forward angle (11° to 25°)",
    ("decimal", "."): "A point: 1.5",
    ("decimal", ","): "A comma: 1,5",
    ("columns", "extra"): "keep as a further column",
    ("columns", "ignore"): "leave this column out",
}


@dataclass(frozen=True)
class Review:
    """A reading of the waiting files: its counts, and whether something is there to take in."""

    rows: int
    accepted: int
    rejected: int
    ignored: int
    files: int
    sheets: tuple[SheetIntake, ...]
    problems: tuple[Problem, ...]

    @property
    def questions(self) -> int:
        """How many things a person has to answer before the rows concerned can be taken in."""
        return sum(len(sheet.questions) for sheet in self.sheets)

    @property
    def sentence(self) -> str:
        """The reading in one or two sentences."""
        if not self.rows:
            return "No row of any sheet could be read as a record."
        told = f"{count(self.accepted, 'row')} of {count(self.files, 'file')} can be taken in"
        apart = [
            f"{self.rejected:,} {'is' if self.rejected == 1 else 'are'} rejected" if self.rejected else "",
            f"{self.ignored:,} (totals, blank lines and the like) {'is' if self.ignored == 1 else 'are'} ignored"
            if self.ignored
            else "",
        ]
        rest = "; ".join([told, *(part for part in apart if part)])
        asked = f" {count(self.questions, 'question')} first." if self.questions else ""
        return f"{rest}.{asked}"


def review(taken: Intake) -> Review:
    """Return what a reading comes to."""
    sheets = taken.sheets
    totals = Counter[str]()
    for sheet in sheets:
        totals.update(rows=sheet.rows, accepted=sheet.accepted, rejected=sheet.rejected, ignored=sheet.ignored)
    return Review(
        totals["rows"],
        totals["accepted"],
        totals["rejected"],
        totals["ignored"],
        len(taken.files),
        sheets,
        tuple(taken.problems),
    )


def closer_id(place: int) -> dict[str, str | int]:
    """Return the id of the button that looks closer at a sheet."""
    return {"type": "look-closer", "sheet": place}


def review_parts(read: Review) -> list[Component]:
    """Return a reading's counts in a sentence, its questions, and what each sheet was taken for."""
    parts: list[Component] = [html.P(read.sentence, className="answer", role="status")]
    parts += question_list(read)
    if read.sheets:
        parts += [html.H3("What each sheet was taken for"), sheet_table(read.sheets)]
    return parts


def remark_parts(read: Review, rejects: str) -> list[Component]:
    """Return what was rejected or remarked on; ``rejects`` is the address of the file of rejected rows."""
    others = [severity for severity in Severity if severity is not Severity.QUESTION]
    parts = problem_list(read.problems, others)
    if read.rejected:
        link = html.A("Take the rejected rows away as xlsx", href=rejects, download="dropbright-rejected.xlsx")
        parts.append(
            html.P(
                [link, ", in the layout they came in, each with its reason. Mend them there and drop that file here."],
                className="take-away",
            )
        )
    return parts


def sheet_table(sheets: tuple[SheetIntake, ...]) -> Component:
    """Return what each sheet was taken for, with its counts and a button that looks closer."""
    columns = (
        Column("File and sheet", kind="prose"),
        Column("Taken for"),
        Column("Header in row", kind="figures"),
        Column("Rows", kind="figures"),
        Column("Accepted", kind="figures"),
        Column("Rejected", kind="figures"),
        Column("Ignored", kind="figures"),
        Column("Its columns"),
    )
    return data_table("Sheets and what they were taken for", columns, [_sheet_row(i, s) for i, s in enumerate(sheets)])


def _sheet_row(place: int, sheet: SheetIntake) -> tuple[Component | str, ...]:
    kind = KINDS[sheet.kind].label if sheet.kind in KINDS else sheet.kind or ""
    return (
        html.Span([sheet.file, html.Span(sheet.sheet, className="unit")]),
        kind or html.Em("not recognised"),
        "" if sheet.header_row is None else f"{sheet.header_row:,}",
        *(f"{number:,}" for number in (sheet.rows, sheet.accepted, sheet.rejected, sheet.ignored)),
        html.Button(
            ["Look closer", html.Span(f" at {sheet.sheet} of {sheet.file}", className="sr-only")],
            id=closer_id(place),
            type="button",
            className="link-button",
        ),
    )


def question_list(read: Review) -> list[Component]:
    """Return the questions, each with the control that answers it."""
    questions = [question for sheet in read.sheets for question in sheet.questions]
    if not questions:
        return []
    items = [html.Li(_question(question)) for question in questions]
    return [html.H3("Questions to answer first"), html.Ol(items, className="questions")]


def _question(question: Question) -> list[Component]:
    place = " › ".join(part for part in (question.file, question.sheet) if part)
    column = f", column “{question.key}”" if question.key and question.key != ANY_HEADER else ""
    return [
        html.P(html.Strong(question.text), className="problem-what"),
        html.P(f"{place}{column}", className="problem-where"),
        _control(question),
    ]


def _control(question: Question) -> Component:
    if question.key == ANY_HEADER:
        return html.P("Look closer at the sheet, below, and say there which of its columns it is.")
    control = control_id(sheet_key(question.file, question.sheet), question.field, question.key or "")
    label = f"Your answer for {question.key or question.sheet}"
    if not question.choices:
        return dmc.TextInput(id=control, label=label, className="question-answer")
    options = [{"value": choice, "label": _choice_label(question.field, choice)} for choice in question.choices]
    return dmc.Select(id=control, label=label, placeholder="Choose", data=options, className="question-answer")


def _choice_label(field: str, choice: str) -> str:
    if field == "kind" and choice in KINDS:
        return KINDS[choice].label
    if (field, choice) in _CHOICES:
        return _CHOICES[field, choice]
    return choice.replace("_", " ") if field == "columns" else choice


def kind_options() -> list[dict[str, str]]:
    """Return the kinds of record as a select offers them."""
    return [{"value": kind.name, "label": kind.label} for kind in KINDS.values()]
