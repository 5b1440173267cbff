"""Small sheets, written as a workbook or a text table and taken in."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter

from analysis.records import Intake, SourceFile, take_in

Rows = Sequence[Sequence[Any]]
Merges = Mapping[str, Sequence[tuple[int, int, int, int]]]

TODAY = date(2026, 11, 25)


def write_workbook(path: Path, sheets: Mapping[str, Rows], merged: Merges | None = None) -> Path:
    """Write sheets of cells; ``merged`` gives, by sheet, ranges whose first cell is written over all of them."""
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as workbook:
        formats = {kind: workbook.add_format({"num_format": code}) for kind, code in
                   {datetime: "dd/mm/yyyy hh:mm", date: "dd/mm/yyyy", time: "hh:mm"}.items()}  # fmt: skip
        for name, rows in sheets.items():
            sheet = workbook.add_worksheet(name)
            for i, row in enumerate(rows):
                for j, cell in enumerate(row):
                    if type(cell) in formats:
                        sheet.write_datetime(i, j, cell, formats[type(cell)])
                    elif isinstance(cell, str):
                        sheet.write_string(i, j, cell)
                    elif cell is not None:
                        sheet.write(i, j, cell)
            for first_row, first_column, last_row, last_column in (merged or {}).get(name, ()):
                text = rows[first_row][first_column]
                sheet.merge_range(first_row, first_column, last_row, last_column, text)
    return path


@pytest.fixture
def take(tmp_path: Path) -> Callable[..., Intake]:
    """Take in a workbook of one or more sheets: ``take({"Cans": rows})`` or ``take(rows)``."""

    def make(
        sheets: Mapping[str, Rows] | Rows, merged: Merges | None = None, name: str = "log.xlsx", **said: Any
    ) -> Intake:
        named = sheets if isinstance(sheets, Mapping) else {"Sheet1": sheets}
        path = write_workbook(tmp_path / "written.xlsx", named, merged)
        return take_in([SourceFile(path, name)], **{"today": TODAY, **said})

    return make


@pytest.fixture
def take_csv(tmp_path: Path) -> Callable[..., Intake]:
    """Take in a text table."""

    def make(text: str, name: str = "log.csv", **said: Any) -> Intake:
        path = tmp_path / "written.csv"
        path.write_text(text, encoding="utf-8")
        return take_in([SourceFile(path, name)], **{"today": TODAY, **said})

    return make
