"""What is wrong on one sheet so far, which rows does it cost, and what must a person be asked?"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from analysis.problems import Problem, Severity
from analysis.records.cells import RawColumn
from analysis.records.missing import BEYOND, is_missing

__all__ = ["ANY_HEADER", "Faults", "Question", "QuestionField"]

Flags = npt.NDArray[np.bool_]
QuestionField = Literal["kind", "columns", "units", "dates", "angles", "numbers", "decimal"]

ANY_HEADER = "the header"
"""In place of a header in a question about a column of which no header tells which it is."""
_WORDS_TOLD = 5
_TOLD_ONE_BY_ONE = 500
"""So many rows of one column with one fault get a problem each; the rest are told of together."""


@dataclass(frozen=True)
class Question:
    """What a person must say before some rows can be taken in.

    The answer goes into ``field`` of the sheet's ``Answers``, under ``key`` where that is a mapping, as one of
    ``choices`` (where there are any).
    """

    file: str
    sheet: str
    field: QuestionField
    key: str | None
    choices: tuple[str, ...]
    text: str

    def document(self, choice: str) -> str:
        """Return the JSON of a ``--columns`` file that answers with one choice."""
        said: object = choice if self.key is None else {self.key: choice}
        return json.dumps({"sheets": {f"{self.file}/{self.sheet}": {self.field: said}}}, ensure_ascii=False)

    @property
    def remedy(self) -> str:
        """How to answer, on the screen and on the command line."""
        others = f" (or {', '.join(self.choices[1:])})" if len(self.choices) > 1 else ""
        choice = self.choices[0] if self.choices else "…"
        return (
            f"Answer beside the sheet's columns on the Intake page, or take the file in again with --columns MAP.json "
            f"holding {self.document(choice)}{others}."
        )


class Faults:
    """The problems of one sheet; ``rejected`` marks the rows that they cost, ``reasons`` says why, by row;
    ``blamed`` says under which header. ``active`` marks the rows that are records.

    Rows are those of the table, counted from 0; ``first_row`` is where the first of them stands on the sheet, from 1.
    """

    def __init__(self, file: str, sheet: str, first_row: int, active: Flags) -> None:
        self.file, self.sheet, self.first_row = file, sheet, first_row
        self.active = active.copy()
        self.ignored: dict[str, int] = {}
        self.rejected = np.zeros(len(active), dtype=bool)
        self.reasons: dict[int, list[str]] = {}
        self.blamed: dict[str, Flags] = {}
        self.problems: list[Problem] = []
        self.questions: list[Question] = []

    def reject(
        self,
        rows: Flags,
        code: str,
        message: str | Callable[[str], str],
        remedy: str,
        header: str | None = None,
        column: RawColumn | None = None,
        severity: Severity = Severity.REJECTED,
    ) -> None:
        """Reject rows, each with a problem; ``message`` may be made from the cell's text."""
        found = np.flatnonzero(rows & self.active)
        if found.size == 0:
            return
        self.rejected[found] = True
        self._blame(header, rows)
        shown = found[:_TOLD_ONE_BY_ONE]
        texts = column.texts(shown) if column is not None else [""] * len(shown)
        for row, text in zip(shown.tolist(), texts, strict=True):
            said = message if isinstance(message, str) else message(text)
            self._because(row, said)
            self.problems.append(self._problem(code, said, remedy, severity, row, header, text or None))
        self._reject_many(found[_TOLD_ONE_BY_ONE:], code, message, remedy, header, severity)

    def ask(self, question: Question, code: str, rows: Flags, column: str | None, costs_rows: bool = True) -> None:
        """Ask one question; the rows that wait for its answer are rejected, unless only a cell of theirs waits."""
        waiting = rows & self.active
        count = int(waiting.sum())
        self.questions.append(question)
        held = f" {'Rows' if costs_rows else 'Cells'} that wait for the answer: {count:,}." if count else ""
        message = f"{question.text}{held}"
        self.problems.append(self._problem(code, message, question.remedy, Severity.QUESTION, None, column, None))
        if costs_rows:
            for row in np.flatnonzero(waiting).tolist():
                self._because(row, question.text)
            self.rejected |= waiting
            self._blame(column, waiting)

    def hold(self, rows: Flags, reason: str) -> None:
        """Reject rows that wait for the answer to a question which was put already."""
        found = rows & self.active
        self.rejected |= found
        for row in np.flatnonzero(found).tolist():
            self._because(row, reason)

    def ignore(self, rows: Flags, what: str) -> int:
        """Leave rows out that are no records; those that were rejected stay rejected. Return how many."""
        found = rows & self.active & ~self.rejected
        count = int(found.sum())
        if count:
            self.active &= ~found
            self.ignored[what] = self.ignored.get(what, 0) + count
        return count

    def question(self, field: QuestionField, key: str | None, choices: Sequence[str], text: str) -> Question:
        """Return a question about this sheet."""
        return Question(self.file, self.sheet, field, key, tuple(choices), text)

    def note(self, code: str, message: str, remedy: str, header: str | None = None, row: int | None = None) -> None:
        """Tell something that costs no row."""
        self.problems.append(self._problem(code, message, remedy, Severity.NOTE, row, header, None))

    def note_missing(self, column: RawColumn, rows: Flags, header: str) -> None:
        """Tell which words stood where a value should, and how often."""
        found = np.flatnonzero(rows & self.active)
        if found.size == 0:
            return
        codes = column.code[found]
        counts = np.bincount(codes[codes >= 0], minlength=1)
        order = [int(c) for c in np.argsort(-counts, kind="stable") if counts[c]]
        beyond = dict.fromkeys(c for c in order if is_missing([column.words[c].as_py()], BEYOND)[0])
        others = [c for c in order if c not in beyond]
        if others or not order:
            self.note(
                "value-missing",
                f"Words in place of a value count as missing: {self._words(column, found, counts, others)}.",
                "Nothing to do if that is right; else put in the values and take the file in again.",
                header,
            )
        if beyond:
            self.note(
                "limit-missing",
                "Words that say a reading was beyond the meter's range count as missing, so that the highest or lowest "
                f"readings are left out: {self._words(column, found, counts, list(beyond))}.",
                "Write the limit in their place, such as <5 or >150, and take the file in again: it counts as a limit.",
                header,
            )

    def _words(
        self, column: RawColumn, rows: npt.NDArray[np.intp], counts: npt.NDArray[np.intp], codes: Sequence[int]
    ) -> str:
        """Return words with how often each stands there, and from which row on."""
        told = []
        for code in codes[:_WORDS_TOLD]:
            first = int(rows[np.flatnonzero(column.code[rows] == code)[0]]) + self.first_row
            since = f"in row {first}" if counts[code] == 1 else f"from row {first} on"
            told.append(f"“{column.words[code].as_py()}” ({counts[code]:,}) {since}")
        if len(codes) > _WORDS_TOLD:
            told.append(f"{len(codes) - _WORDS_TOLD:,} more")
        return ", ".join(told) or "errors of the spreadsheet"

    def is_blamed(self, headers: Sequence[str]) -> Flags:
        """Return the rows that were rejected for a cell under one of the headers already."""
        blamed = np.zeros(len(self.active), dtype=bool)
        for header in headers:
            if header in self.blamed:
                blamed |= self.blamed[header]
        return blamed

    def _blame(self, header: str | None, rows: Flags) -> None:
        if header is not None:
            self.blamed[header] = self.blamed[header] | rows if header in self.blamed else rows.copy()

    def _because(self, row: int, said: str) -> None:
        reasons = self.reasons.setdefault(row, [])
        if said not in reasons:
            reasons.append(said)

    def _reject_many(
        self, rows: npt.NDArray[np.intp], code: str, message: str | Callable[[str], str], remedy: str,
        header: str | None, severity: Severity,
    ) -> None:  # fmt: skip
        if rows.size == 0:
            return
        said = message if isinstance(message, str) else message("…")
        for row in rows.tolist():
            self._because(row, said)
        first, last = int(rows[0]) + self.first_row, int(rows[-1]) + self.first_row
        span = f"1 more, row {first}" if rows.size == 1 else f"{rows.size:,} more, from row {first} to row {last}"
        told = f"{said} The same holds for {span}."
        self.problems.append(self._problem(code, told, remedy, severity, int(rows[0]), header, None))

    def _problem(
        self, code: str, message: str, remedy: str, severity: Severity, row: int | None, header: str | None,
        value: str | None,
    ) -> Problem:  # fmt: skip
        place = None if row is None else row + self.first_row
        return Problem(code, message, remedy, severity, self.file, self.sheet, place, header, value)
