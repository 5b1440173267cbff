"""Do the brewery's books hold what the truth says of them, in every untidy way that they should?"""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path

import openpyxl
import pytest

from analysis.records.kinds import KINDS
from data_demo.paper import Cell, Mark, Page
from data_demo.sheet_truth import BAD_ROWS, SHEETS, BadRow, SheetTruth
from data_demo.truth import BREWERY
from data_demo.workbooks import books, write_workbooks

PAGES = {(book.file, page.name): page for book in books() for page in book.pages}


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("books")
    return {path.name: path for path in write_workbooks(folder)}


def test_the_same_bytes_each_time(written: dict[str, Path], tmp_path: Path) -> None:
    again = write_workbooks(tmp_path / "again")
    assert [path.name for path in again] == list(written)
    assert all(path.read_bytes() == written[path.name].read_bytes() for path in again)


def test_every_sheet_is_stated() -> None:
    assert [(each.file, each.sheet) for each in SHEETS] == list(PAGES)
    assert len({each.file for each in SHEETS}) >= 5
    assert {each.kind for each in SHEETS} - {None} == set(KINDS)


@pytest.mark.parametrize("each", SHEETS, ids=lambda e: f"{e.file}/{e.sheet}")
def test_each_sheet_has_the_rows_that_are_stated(each: SheetTruth) -> None:
    page = PAGES[each.file, each.sheet]
    assert (page.kind, page.header_row) == (each.kind, each.header_row)
    counted = (Mark.RECORD, Mark.CONTRADICTION, Mark.BAD, Mark.ASKED, Mark.REPEAT, Mark.LOST)
    stated = (each.records, each.contradictions, each.bad, each.asked, each.repeats, each.lost)
    assert tuple(page.count(mark) for mark in counted) == stated
    below = page.marks[page.header_row or 0 :]
    assert sum(mark in (Mark.BANNER, Mark.BLANK, Mark.TOTAL) for mark in below) == each.blank


@pytest.mark.parametrize("each", SHEETS, ids=lambda e: f"{e.file}/{e.sheet}")
def test_each_sheet_says_that_it_is_invented(each: SheetTruth) -> None:
    assert PAGES[each.file, each.sheet].rows[0] == (BREWERY,)


@pytest.mark.parametrize("each", BAD_ROWS, ids=lambda e: f"{e.sheet}: {e.why}")
def test_each_fault_stands_where_it_is_stated(each: BadRow) -> None:
    page = PAGES[each.file, each.sheet]
    header = page.rows[page.header_row - 1]
    bad = [row for row, mark in zip(page.rows, page.marks, strict=True) if mark is Mark.BAD]
    shown = [None if row[header.index(each.column)] is None else str(row[header.index(each.column)]) for row in bad]
    assert each.value in shown
    assert sum(e.bad for e in SHEETS) == len(BAD_ROWS)


def test_batch_numbers_come_in_four_hands() -> None:
    cells = [row[1] for row in _records(PAGES["Cellar log 2025.xlsx", "Jun 25"])]
    assert {type(cell) for cell in cells} == {float, str}
    assert {cell[0] for cell in cells if isinstance(cell, str)} == {"#", "G"}


def test_jobs_are_named_in_many_words_and_some_end_past_midnight() -> None:
    logs = [page for (file, _), page in PAGES.items() if file == "Cellar log 2025.xlsx"]
    rows = [row for page in logs for row in _records(page)]
    words = {str(row[3]) for row in rows}
    assert {"recirc", "roused", "yeast off", "drop", "cone dump", "D/H", "fined"} < words
    assert any(_clock(row[5]) < _clock(row[4]) for row in rows if row[5] is not None)


def test_units_stand_in_headers_in_columns_and_in_cells() -> None:
    assert "Fill temp (°F)" in PAGES["Line 2 bottles cans kegs.xlsx", "Runs"].rows[3]
    units = {row[7] for row in _records(PAGES["Cellar log 2025.xlsx", "Jun 25"])}
    assert {"pt/UK bbl", "ml/hl", "litres", "kg"} < units
    doses = [str(row[5]) for row in _records(PAGES["Cellar log 2026.xlsx", "Q2 2026"]) if row[5] is not None]
    assert all(dose.rsplit(" ", 1)[1] in ("mL/hL", "L", "kg") for dose in doses)


def test_some_readings_are_below_the_limit_and_some_are_words() -> None:
    page = PAGES["Line 2 bottles cans kegs.xlsx", "Packs 2025"]
    figures = [row[4] for row in _records(page)]
    assert "<5" in figures
    lost = {row[11] for row in _records(PAGES["Line 1 cans.xlsx", "2026"]) if isinstance(row[11], str)}
    assert lost & {"n/a", "-", "broken"}


def test_the_separated_files_are_of_this_part_of_europe(written: dict[str, Path]) -> None:
    content = written["tank readings 2026.csv"].read_bytes()
    with pytest.raises(UnicodeDecodeError):
        content.decode("utf-8")
    lines = content.decode("cp1252").splitlines()
    header = lines[3].split(";")
    row = lines[4].split(";")
    assert "Temperature (°C)" in header
    assert "," in row[header.index("Temperature (°C)")]
    days = {int(line.split(";")[4][:2]) for line in lines[4:]}
    assert max(days) > 12


def test_a_spreadsheet_program_would_see_merged_titles_and_real_dates(written: dict[str, Path]) -> None:
    sheet = openpyxl.load_workbook(written["brew book 2025-26.xlsx"])["Brews 2025"]
    assert sheet["A1"].value == BREWERY
    assert "A1:I1" in {str(merged) for merged in sheet.merged_cells.ranges}
    assert isinstance(sheet["D5"].value, datetime)


def test_the_dates_to_be_asked_about_fit_both_orders() -> None:
    rows = PAGES["sent away.xlsx", "Results"].rows[4:]
    parts = [str(row[3]).split("/") for row in rows]
    assert len(parts) == 6
    assert all(int(first) <= 12 and int(second) <= 12 for first, second, _ in parts)


def test_the_demo_is_small_enough_to_start_quickly() -> None:
    packs = [page for (file, _), page in PAGES.items() if file.startswith(("Line", "Lab"))]
    assert sum(page.count(Mark.RECORD) for page in packs) * 2 < 8_000


def _records(page: Page) -> list[tuple[Cell, ...]]:
    return [row for row, mark in zip(page.rows, page.marks, strict=True) if mark is Mark.RECORD]


def _clock(cell: Cell) -> time:
    assert isinstance(cell, time | str)
    assert not isinstance(cell, date)
    return cell if isinstance(cell, time) else time.fromisoformat(cell)
