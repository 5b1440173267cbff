"""What came of the files that were taken in: what each sheet was taken for, its records, and what is wrong?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Any, Literal

import pandas as pd

from analysis.problems import Problem
from analysis.records.answers import Answers
from analysis.records.cells import RawColumn
from analysis.records.faults import Question

__all__ = ["FileIntake", "Intake", "NumberedColumn", "RejectedRows", "SheetIntake"]

_NOTHING: Mapping[str, str] = MappingProxyType({})


@dataclass(frozen=True)
class NumberedColumn:
    """What the number of a column such as "TPO 2" counts: the samples (packs) of a run, or the readings of one sample.

    ``leader`` is the first header of the columns that count together and may be said to count the other; None where the
    header's own words say what it counts ("TPO can 2").
    """

    counts: Literal["sample", "replicate"]
    number: str
    leader: str | None


@dataclass(frozen=True)
class SheetIntake:
    """What one sheet was taken for, and what came of its rows: ``rows = accepted + rejected + ignored``.

    ``rows`` counts those below the header row, down to the last that is not blank (all rows of a sheet that is no
    record); ``header_row`` counts from 1. ``columns`` gives, by header, the kept column or measure that it was
    taken for; ``kept_as_extra`` are the headers of further columns. ``units`` and ``dates`` say, by header, in
    which unit its numbers and in which form its dates were read, ``numbered`` what the number of a measure's column
    counts. ``ignored_as`` says what the ignored rows were. ``layout`` names the headers, ``answers`` what a person
    had said of the sheet, ``questions`` what must still be answered.
    """

    file: str
    sheet: str
    kind: str | None
    header_row: int | None
    rows: int
    accepted: int
    rejected: int
    ignored: int
    columns: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    kept_as_extra: tuple[str, ...] = ()
    layout: str | None = None
    answers: Answers = field(default_factory=Answers)
    headers: tuple[str, ...] = ()
    examples: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    units: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    dates: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    ignored_as: Mapping[str, int] = field(default_factory=lambda: MappingProxyType({}))
    numbered: Mapping[str, NumberedColumn] = field(default_factory=lambda: MappingProxyType({}))
    questions: tuple[Question, ...] = ()

    def as_document(self) -> dict[str, Any]:
        """Return the sheet as the JSON document of the command line has it."""
        return {
            "sheet": self.sheet,
            "kind": self.kind,
            "header_row": self.header_row,
            "rows": self.rows,
            "accepted": self.accepted,
            "rejected": self.rejected,
            "ignored": self.ignored,
            "columns": dict(self.columns),
            "kept_as_extra": list(self.kept_as_extra),
            "units": dict(self.units),
            "dates": dict(self.dates),
            "ignored_as": dict(self.ignored_as),
            "numbered": {header: f"{each.counts} {each.number}" for header, each in self.numbered.items()},
        }


@dataclass(frozen=True)
class FileIntake:
    """One file and its sheets."""

    file: str
    sha256: str
    sheets: tuple[SheetIntake, ...]


@dataclass(frozen=True, eq=False)
class RejectedRows:
    """The rejected rows of one sheet in the layout that they came in: ``columns`` have one entry for each row.

    ``samples`` holds the numbers that samples without one were given, "" where none was, or is None. ``runs_elsewhere``
    says that another sheet told when the runs were packed, so that a date here is a reading's alone;
    ``packs_by_column`` that columns such as "TPO 1" were taken for a pack each.
    """

    file: str
    sheet: str
    headers: tuple[str, ...]
    columns: tuple[RawColumn, ...]
    reasons: tuple[str, ...]
    samples: tuple[str, ...] | None = None
    runs_elsewhere: bool = False
    packs_by_column: bool = False


@dataclass(frozen=True, eq=False)
class Intake:
    """What files held.

    ``records`` has a frame for every kind: the kind's columns, ``extra`` (the further cells of the row as one JSON
    object, or missing), ``file``, ``sheet`` and ``source_row``. Values are in the kept unit of their quantity; the
    ``sign`` of a reading is ``"<"``, ``">"`` or missing.
    """

    files: tuple[FileIntake, ...]
    problems: tuple[Problem, ...]
    records: Mapping[str, pd.DataFrame]
    rejects: tuple[RejectedRows, ...] = ()

    @property
    def sheets(self) -> tuple[SheetIntake, ...]:
        """Every sheet of every file, in order."""
        return tuple(sheet for file in self.files for sheet in file.sheets)

    def as_document(self) -> dict[str, Any]:
        """Return the intake as a JSON document; ``intake`` is None, for it has no number before it is on record."""
        return {
            "intake": None,
            "files": [
                {"file": f.file, "sha256": f.sha256, "sheets": [sheet.as_document() for sheet in f.sheets]}
                for f in self.files
            ],
            "problems": [problem.as_document() for problem in self.problems],
        }
