"""What stands on a sheet of the brewery's, cell by cell, and what is each row?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time
from enum import StrEnum

from data_demo.truth import BREWERY

__all__ = ["Book", "Cell", "Draft", "Mark", "Page"]

Cell = str | float | int | date | datetime | time | bool | None


class Mark(StrEnum):
    """What a row of a sheet is, as the hand that wrote it knows.

    ``REPEAT`` is a record that was typed twice, ``CONTRADICTION`` one that was typed twice with another value. ``BAD``
    must be turned away; ``ASKED`` must wait for a person's answer. ``LOST`` has a word where each
    of its readings should be, ``TOTAL`` is a sum or an average: neither is a record.
    """

    BANNER = "banner"
    HEADER = "header"
    BLANK = "blank"
    RECORD = "record"
    REPEAT = "repeat"
    CONTRADICTION = "contradiction"
    BAD = "bad"
    ASKED = "asked"
    LOST = "lost"
    TOTAL = "total"


@dataclass(frozen=True)
class Page:
    """A sheet: its rows from the first on, a mark for each, and the rows whose first cell is merged across."""

    name: str
    kind: str | None
    rows: tuple[tuple[Cell, ...], ...]
    marks: tuple[Mark, ...]

    def count(self, *marks: Mark) -> int:
        """Return how many rows bear one of the marks."""
        return sum(mark in marks for mark in self.marks)

    @property
    def header_row(self) -> int | None:
        """The row of the header, counted from 1."""
        return self.marks.index(Mark.HEADER) + 1 if Mark.HEADER in self.marks else None

    @property
    def width(self) -> int:
        """The number of columns."""
        return max((len(row) for row in self.rows), default=0)


@dataclass(frozen=True)
class Book:
    """A file: an xlsx or ods workbook of several pages, or a csv of one."""

    file: str
    pages: tuple[Page, ...]


@dataclass
class Draft:
    """A page while it is being written, from the top down."""

    name: str
    kind: str | None
    rows: list[tuple[Cell, ...]] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)

    def banner(self, *lines: str) -> Draft:
        """Write the brewery's name and further lines above the table, and a blank row."""
        for line in (BREWERY, *lines):
            self.write((line,), Mark.BANNER)
        return self.blank()

    def header(self, *names: str) -> Draft:
        """Write the header row."""
        return self.write(names, Mark.HEADER)

    def write(self, cells: Sequence[Cell], mark: Mark = Mark.RECORD) -> Draft:
        """Write one row."""
        self.rows.append(tuple(cells))
        self.marks.append(mark)
        return self

    def blank(self) -> Draft:
        """Leave a row empty."""
        return self.write((), Mark.BLANK)

    def page(self) -> Page:
        """Return the finished page."""
        return Page(self.name, self.kind, tuple(self.rows), tuple(self.marks))
