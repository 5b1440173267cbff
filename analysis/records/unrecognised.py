"""What is told of a sheet that is no record, or that could be two kinds, or that lacks a column?"""

from __future__ import annotations

import numpy as np

from analysis.problems import Problem, Severity
from analysis.records.cells import EMPTY, RawSheet
from analysis.records.faults import ANY_HEADER, Question
from analysis.records.kinds import KINDS
from analysis.records.marks import GUIDE
from analysis.records.recognise import Recognised
from analysis.records.sheet import SheetResult, told_of
from analysis.records.table import table_of
from analysis.records.taken import RejectedRows, SheetIntake

__all__ = ["unrecognised_sheet"]


def unrecognised_sheet(sheet: RawSheet, recognised: Recognised) -> SheetResult:
    """Return what is told of a sheet whose kind is not known.

    Notes and covers are ignored, with a note. A sheet that fits two kinds, or one but for a column, waits for an
    answer: its rows are rejected until then.
    """
    if recognised.rivals:
        return _two_kinds(sheet, recognised)
    if recognised.nearest is not None:
        return _lacking(sheet, recognised)
    return _no_record(sheet, recognised)


def _no_record(sheet: RawSheet, recognised: Recognised) -> SheetResult:
    filled = (sheet.tags() != EMPTY).any(axis=1) if sheet.columns else np.zeros(0, dtype=bool)
    rows = len(filled) - int(np.argmax(filled[::-1])) if filled.any() else 0
    count = "1 row" if rows == 1 else f"{rows:,} rows"
    problem = Problem(
        "sheet-not-recognised" if rows else "sheet-empty",
        f"The sheet is no kind of record and was ignored; it has {count}." if rows else "The sheet is empty.",
        "Nothing to do if it holds notes; else say its kind on the Intake page or with --kind, and its header row and "
        "columns with --columns." if rows else "Nothing to do if that is right.",
        Severity.NOTE, sheet.file, sheet.name,
    )  # fmt: skip
    intake = SheetIntake(
        sheet.file, sheet.name, None, None, rows, 0, 0, rows, layout=recognised.layout, answers=recognised.answers,
        ignored_as={"no record": rows} if rows else {},
    )  # fmt: skip
    is_guide = bool(rows) and sheet.columns[0].text_at(0) == GUIDE
    return SheetResult(intake, (), () if is_guide else (problem,))


def _two_kinds(sheet: RawSheet, recognised: Recognised) -> SheetResult:
    labels = " and ".join(KINDS[kind].label.lower() for kind in recognised.rivals)
    text = f"The sheet fits {labels} equally well: which is it?"
    question = Question(sheet.file, sheet.name, "kind", None, recognised.rivals, text)
    remedy = f"Choose the kind on the Intake page, or use --kind {recognised.rivals[0]}. {question.remedy}"
    problem = Problem("kind-ambiguous", text, remedy, Severity.QUESTION, sheet.file, sheet.name)
    return _waiting(sheet, recognised, question, problem)


def _lacking(sheet: RawSheet, recognised: Recognised) -> SheetResult:
    nearest = recognised.nearest or ""
    what = " and ".join(name.replace("_", " ") for name in recognised.lacking)
    text = f"The sheet looks like {KINDS[nearest].label.lower()}, but no column was taken for the {what}."
    name = recognised.lacking[0].split(" or ")[0].split(",")[0]
    free = [m.header for m in recognised.having("extra")]
    header = free[0] if free else ANY_HEADER
    question = Question(sheet.file, sheet.name, "columns", header, (name,), text)
    remedy = (
        f"Name that column “{name.replace('_', ' ')}” on the sheet, or say on the Intake page or with --columns which"
        f" it is, as in {question.document(name)}."
    )
    problem = Problem("column-missing", text, remedy, Severity.QUESTION, sheet.file, sheet.name)
    return _waiting(sheet, recognised, question, problem)


def _waiting(sheet: RawSheet, recognised: Recognised, question: Question, problem: Problem) -> SheetResult:
    """Return the result of a sheet all of whose records wait for an answer."""
    table = table_of(sheet, recognised)
    rows = np.flatnonzero(table.active)
    n = len(table)
    assert recognised.header_row is not None  # what waits for an answer has a header row
    intake = SheetIntake(
        sheet.file, sheet.name, None, recognised.header_row + 1, n, 0, len(rows), n - len(rows),
        **told_of(sheet, recognised), ignored_as={what: count for what, count in table.ignored.items() if count},
        questions=(question,),
    )  # fmt: skip
    rejected = RejectedRows(
        sheet.file, sheet.name, recognised.headers,
        tuple(column.take(rows) for column in table.columns), (question.text,) * len(rows),
    )  # fmt: skip
    return SheetResult(intake, (), (problem,), rejected if len(rows) else None)
