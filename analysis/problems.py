"""What is wrong with a cell, a row, a sheet or a file, and what can be done about it?"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

__all__ = ["Problem", "Severity"]


class Severity(StrEnum):
    """How much a problem costs.

    ``REJECTED``: the row, sheet or file was not taken in. ``QUESTION``: it was not taken in and a person's answer would
    let it in. ``CONFLICT``: it is on record beside another value for the same thing. ``NOTE``: it was taken in, and
    something about it should be known.
    """

    REJECTED = "rejected"
    QUESTION = "question"
    CONFLICT = "conflict"
    NOTE = "note"


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong, where it stands, and the remedy.

    ``code`` is a kept lower-case word pair such as ``"date-ambiguous"``; ``message`` says what is wrong in one sentence
    and ``remedy`` what to do in another. ``row`` counts as the spreadsheet does, from 1; ``column`` is the header as it
    stands on the sheet. Whatever does not apply is None.
    """

    code: str
    message: str
    remedy: str
    severity: Severity = Severity.REJECTED
    file: str | None = None
    sheet: str | None = None
    row: int | None = None
    column: str | None = None
    value: str | None = None

    def as_document(self) -> dict[str, str | int | None]:
        """Return the problem as the JSON document of the command line has it."""
        return {
            "file": self.file,
            "sheet": self.sheet,
            "row": self.row,
            "column": self.column,
            "value": self.value,
            "code": self.code,
            "severity": str(self.severity),
            "message": self.message,
            "remedy": self.remedy,
        }
