"""What must the intake report of each of the brewery's sheets?"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["BAD_ROWS", "SHEETS", "BadRow", "SheetTruth"]


@dataclass(frozen=True)
class SheetTruth:
    """The rows of a sheet below its header row, counted from 1 (None: the sheet has no table).

    ``records`` are sound, each typed once; ``contradictions`` are typed again with another figure. ``repeats``, typed
    again word for word, ``lost`` rows, with a word for each of their readings, and ``blank`` ones, totals or averages,
    are ignored; so is every row of a sheet without a table. ``bad`` rows must be turned away; ``asked`` ones must wait
    for an answer.
    """

    file: str
    sheet: str
    kind: str | None
    header_row: int | None
    records: int
    contradictions: int = 0
    bad: int = 0
    asked: int = 0
    repeats: int = 0
    lost: int = 0
    blank: int = 0

    @property
    def accepted(self) -> int:
        """Rows that are taken in."""
        return self.records + self.contradictions

    @property
    def rejected(self) -> int:
        """Rows that are turned away or wait for an answer."""
        return self.bad + self.asked

    @property
    def ignored(self) -> int:
        """Rows that hold nothing to take in."""
        return self.repeats + self.lost + self.blank


SHEETS = (
    SheetTruth("brew book 2025-26.xlsx", "Cover", None, None, 0, blank=5),
    SheetTruth("brew book 2025-26.xlsx", "Brews 2025", "batches", 4, 101, blank=9),
    SheetTruth("brew book 2025-26.xlsx", "Brews 2026", "batches", 5, 136, bad=1, blank=2),
    SheetTruth("brew book 2025-26.xlsx", "Movements", "transfers", 5, 240),
    SheetTruth("brew book 2025-26.xlsx", "Targets", "targets", 4, 9),
    SheetTruth("Cellar log 2025.xlsx", "May 25", "operations", 4, 75, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Jun 25", "operations", 4, 108, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Jul 25", "operations", 4, 120, repeats=2, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Aug 25", "operations", 4, 143, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Sep 25", "operations", 4, 104, bad=1, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Oct 25", "operations", 4, 133, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Nov 25", "operations", 4, 103, bad=1, blank=2),
    SheetTruth("Cellar log 2025.xlsx", "Dec 25", "operations", 4, 126, blank=2),
    SheetTruth("Cellar log 2026.xlsx", "Q1 2026", "operations", 5, 375),
    SheetTruth("Cellar log 2026.xlsx", "Q2 2026", "operations", 5, 378),
    SheetTruth("Cellar log 2026.xlsx", "Q3 2026", "operations", 5, 358, repeats=1),
    SheetTruth("Cellar log 2026.xlsx", "Q4 2026", "operations", 5, 219, bad=1),
    SheetTruth("Line 1 cans.xlsx", "2025", "pack_runs", 5, 249, repeats=2, blank=18),
    SheetTruth("Line 1 cans.xlsx", "2026", "pack_runs", 5, 384, contradictions=1, bad=2, blank=26),
    SheetTruth("Line 1 cans.xlsx", "Shelf", "readings", 5, 19, lost=1),
    SheetTruth("Line 2 bottles cans kegs.xlsx", "Runs", "pack_runs", 4, 147, bad=1),
    SheetTruth("Line 2 bottles cans kegs.xlsx", "Packs 2025", "readings", 4, 240, lost=3),
    SheetTruth("Line 2 bottles cans kegs.xlsx", "Packs 2026", "readings", 4, 321, bad=1),
    SheetTruth("Lab haze.ods", "HZ1", "readings", 5, 680, bad=2, lost=1),
    SheetTruth("Lab haze.ods", "HZ2", "readings", 5, 270, blank=10),
    SheetTruth("Lab haze.ods", "Meter study", "readings", 4, 60),
    SheetTruth("tank readings 2025.csv", "tank readings 2025", "readings", 4, 678),
    SheetTruth("tank readings 2026.csv", "tank readings 2026", "readings", 4, 973, bad=2),
    SheetTruth("Taste panel.xlsx", "Scores 2025", "tastings", 5, 1012, repeats=1, blank=36),
    SheetTruth("Taste panel.xlsx", "Scores 2026", "tastings", 5, 1652, bad=1, blank=62),
    SheetTruth("Taste panel.xlsx", "Triangles", "taste_tests", 4, 6, bad=1),
    SheetTruth("Meter checks.xlsx", "Oxygen", "meter_checks", 5, 324),
    SheetTruth("Meter checks.xlsx", "Haze", "meter_checks", 5, 164, bad=1),
    SheetTruth("sent away.xlsx", "Results", "readings", 4, 0, asked=6),
)


@dataclass(frozen=True)
class BadRow:
    """A row that is wrong on purpose: where the fault stands, what stands there, and what is wrong with it."""

    file: str
    sheet: str
    column: str
    value: str | None
    why: str


BAD_ROWS = (
    BadRow("brew book 2025-26.xlsx", "Brews 2026", "Recipe", None, "a brew without a recipe"),
    BadRow("Cellar log 2025.xlsx", "Sep 25", "Date", "31/09/2025", "September has 30 days"),
    BadRow("Cellar log 2025.xlsx", "Nov 25", "Job", None, "nobody wrote down what was done"),
    BadRow("Cellar log 2026.xlsx", "Q4 2026", "Started", "after lunch", "not a moment"),
    BadRow("Line 1 cans.xlsx", "2026", "Run", None, "neither run nor batch"),
    BadRow("Line 1 cans.xlsx", "2026", "DO shaken (ppb)", "250000", "more oxygen than beer can hold"),
    BadRow("Line 2 bottles cans kegs.xlsx", "Runs", "Date", "soon", "not a date"),
    BadRow("Line 2 bottles cans kegs.xlsx", "Packs 2026", "Run no.", None, "a pack of no run"),
    BadRow("Lab haze.ods", "HZ1", "Haze 90° (EBC)", "9999", "past what any meter shows"),
    BadRow("Lab haze.ods", "HZ1", "Haze 90° (EBC)", "cloudy", "not a figure"),
    BadRow("tank readings 2026.csv", "tank readings 2026", "Value", "lots", "not a figure"),
    BadRow("tank readings 2026.csv", "tank readings 2026", "Date", "29.02.2026", "2026 has no 29 February"),
    BadRow("Taste panel.xlsx", "Scores 2026", "Score", "seven", "not a figure"),
    BadRow("Taste panel.xlsx", "Triangles", "Correct", "14", "more right than tasters"),
    BadRow("Meter checks.xlsx", "Haze", "Observed", "see note", "not a figure"),
)
