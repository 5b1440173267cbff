"""What would be taken in, and what has to be answered first?"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import dash_mantine_components as dmc
from dash import html
from dash.development.base_component import Component

from analysis.findings.wording import count, listing
from analysis.problems import Problem, Severity
from analysis.records import Intake, SheetIntake
from analysis.records.kinds import KINDS
from dashboard.parts.answers import control_id, sheet_key
from dashboard.parts.problems import problem_list
from dashboard.parts.tables import Column, data_table

__all__ = ["Review", "closer_id", "question_list", "remark_parts", "review", "review_parts", "sheets_of"]

_DATE_ORDERS = [
    {"value": "day-month", "label": "Day first: 4.3. is 4 March"},
    {"value": "month-day", "label": "Month first: 4/3 is 3 April"},
]
_ANGLES = [
    {"value": "90", "label": "90° (side scatter)"},
    {"value": "forward", "label": "A forward angle (11° to 25°)"},
]
_UNIT_HINT = "ppb, µg/L, NTU, EBC, mL/hL …"


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
    def questions(self) -> tuple[Problem, ...]:
        """What a person has to answer before the rows concerned can be taken in."""
        return tuple(problem for problem in self.problems if problem.severity is Severity.QUESTION)

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
        asked = f" {count(len(self.questions), 'question')} first." if self.questions else ""
        return f"{rest}.{asked}"


def sheets_of(taken: Intake) -> tuple[SheetIntake, ...]:
    """Return all sheets of an intake, in order."""
    return tuple(sheet for file in taken.files for sheet in file.sheets)


def review(taken: Intake) -> Review:
    """Return what a reading comes to."""
    sheets = sheets_of(taken)
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
        link = html.A("Take the rejected rows away as Excel", href=rejects, download="dropbright-rejected.xlsx")
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
    """Return the questions, each with the control that answers it where one control can."""
    if not read.questions:
        return []
    items = [html.Li(_question(problem)) for problem in _once(read.questions)]
    return [html.H3("Questions to answer first"), html.Ol(items, className="questions")]


def _once(questions: tuple[Problem, ...]) -> list[Problem]:
    """Return one question for each thing to be said, however many rows wait for it."""
    found = {(q.file, q.sheet, q.column, slot_of(q.code)): q for q in reversed(questions)}
    return list(reversed(found.values()))


def _question(problem: Problem) -> list[Component | str]:
    place = ", ".join(
        part
        for part in (
            " › ".join(p for p in (problem.file, problem.sheet) if p),
            f"column “{problem.column}”" if problem.column else "",
        )
        if part
    )
    parts: list[Component | str] = [
        html.P(html.Strong(problem.message), className="problem-what"),
        html.P(problem.remedy, className="problem-remedy"),
        html.P(place, className="problem-where"),
    ]
    control = _control(problem)
    return parts if control is None else [*parts, control]


def slot_of(code: str) -> str | None:
    """Return which answer a question's code asks for, or None where no single control can give it."""
    for word, slot in (("date", "dates"), ("unit", "units"), ("angle", "angles"), ("kind", "kind")):
        if word in code:
            return slot
    return None


def _control(problem: Problem) -> Component | None:
    slot = slot_of(problem.code)
    if slot is None or problem.file is None or problem.sheet is None:
        return None
    control = control_id(sheet_key(problem.file, problem.sheet), slot, "" if slot == "kind" else problem.column or "")
    label = f"Your answer for {problem.column or problem.sheet}"
    if slot == "units":
        return dmc.TextInput(id=control, label=label, placeholder=_UNIT_HINT, className="question-answer")
    options = {"dates": _DATE_ORDERS, "angles": _ANGLES, "kind": kind_options()}[slot]
    return dmc.Select(id=control, label=label, placeholder="Choose", data=options, className="question-answer")


def kind_options() -> list[dict[str, str]]:
    """Return the kinds of record as a select offers them."""
    return [{"value": kind.name, "label": kind.label} for kind in KINDS.values()]


def said_of(sheet: SheetIntake) -> str:
    """Return a sheet's further columns in words."""
    kept = sheet.kept_as_extra
    return f"Kept as further columns, offered as practices: {listing(kept)}." if kept else ""
