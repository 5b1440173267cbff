"""How do the brewery's books look on disk, as untidy as people keep them?"""

from __future__ import annotations

from datetime import date, datetime, time
from functools import cache
from pathlib import Path

import xlsxwriter
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from data_demo.brew_book import brew_book
from data_demo.brewery import simulate
from data_demo.cellar_log import cellar_logs
from data_demo.haze_book import haze_book
from data_demo.meter_book import meter_book
from data_demo.opendocument import write_opendocument
from data_demo.packaging_book import line_1_book, line_2_book
from data_demo.panel_book import panel_book
from data_demo.paper import Book, Cell, Mark, Page
from data_demo.sent_away import sent_away_book
from data_demo.tank_book import tank_books
from data_demo.truth import NOW

__all__ = ["books", "write_workbooks"]

_FORMATS = {"moment": "dd/mm/yyyy hh:mm", "date": "dd/mm/yyyy", "clock": "hh:mm", "banner": "General"}


@cache
def books() -> tuple[Book, ...]:
    """Return every book of the brewery, in the order in which they are best taken in."""
    made = simulate()
    return (
        brew_book(made), *cellar_logs(made), line_1_book(made), line_2_book(made), haze_book(made), *tank_books(made),
        panel_book(made), meter_book(made), sent_away_book(made),
    )  # fmt: skip


def write_workbooks(folder: Path | str) -> tuple[Path, ...]:
    """Write the brewery's books into a folder, which is made if need be.

    Returns
    -------
    tuple of Path
        The files, the same bytes each time.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    paths = []
    for book in books():
        path = folder / book.file
        _WRITERS[path.suffix](book, path)
        paths.append(path)
    return tuple(paths)


def _write_workbook(book: Book, path: Path) -> None:
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as workbook:
        workbook.set_properties({"title": "Marram Lock Brewery (invented data)", "created": NOW})
        formats = {name: workbook.add_format({"num_format": code}) for name, code in _FORMATS.items()}
        for page in book.pages:
            _write_page(workbook, page, formats)


def _write_page(workbook: Workbook, page: Page, formats: dict[str, Format]) -> None:
    sheet = workbook.add_worksheet(page.name)
    for row, (cells, mark) in enumerate(zip(page.rows, page.marks, strict=True)):
        if mark is Mark.BANNER and page.width > 1:
            sheet.merge_range(row, 0, row, page.width - 1, cells[0], formats["banner"])
        else:
            for column, cell in enumerate(cells):
                _write_cell(sheet, row, column, cell, formats)


def _write_cell(sheet: Worksheet, row: int, column: int, cell: Cell, formats: dict[str, Format]) -> None:
    if isinstance(cell, datetime):
        sheet.write_datetime(row, column, cell, formats["moment"])
    elif isinstance(cell, date):
        sheet.write_datetime(row, column, datetime.combine(cell, time()), formats["date"])
    elif isinstance(cell, time):
        sheet.write_datetime(row, column, cell, formats["clock"])
    elif isinstance(cell, str):
        sheet.write_string(row, column, cell)
    elif cell is not None:
        sheet.write(row, column, cell)


def _write_separated(book: Book, path: Path) -> None:
    """Write a page with semicolons and decimal commas, as a program for this part of Europe saves it in cp1252."""
    lines = [";".join(_separated(cell) for cell in row) for row in book.pages[0].rows]
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("cp1252"))


def _separated(cell: Cell) -> str:
    if cell is None:
        return ""
    return f"{cell:g}".replace(".", ",") if isinstance(cell, float) else str(cell)


_WRITERS = {".xlsx": _write_workbook, ".ods": write_opendocument, ".csv": _write_separated}
