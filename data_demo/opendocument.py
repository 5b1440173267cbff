"""How is a book written as an OpenDocument spreadsheet, with nothing but the standard library?

Source: OASIS OpenDocument 1.3, part 3: ``office:spreadsheet`` and ``table:table-cell`` with ``office:value-type``.
"""

from __future__ import annotations

import zipfile
from datetime import date, datetime, time
from pathlib import Path
from xml.sax.saxutils import escape, quoteattr

from data_demo.paper import Book, Cell, Mark, Page

__all__ = ["write_opendocument"]

_TYPE = "application/vnd.oasis.opendocument.spreadsheet"
_OFFICE = "urn:oasis:names:tc:opendocument:xmlns:office:1.0"
_TABLE = "urn:oasis:names:tc:opendocument:xmlns:table:1.0"
_TEXT = "urn:oasis:names:tc:opendocument:xmlns:text:1.0"
_MANIFEST = "urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"
_WRITTEN = (2026, 11, 21, 20, 0, 0)


def write_opendocument(book: Book, path: Path) -> None:
    """Write the book to ``path``; the same book gives the same bytes."""
    manifest = (
        f'<?xml version="1.0" encoding="UTF-8"?><manifest:manifest xmlns:manifest="{_MANIFEST}" manifest:version="1.3">'
        f'<manifest:file-entry manifest:full-path="/" manifest:version="1.3" manifest:media-type="{_TYPE}"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in (
            ("mimetype", _TYPE),
            ("META-INF/manifest.xml", manifest),
            ("content.xml", _content(book)),
        ):
            entry = zipfile.ZipInfo(name, _WRITTEN)
            entry.compress_type = zipfile.ZIP_STORED if name == "mimetype" else zipfile.ZIP_DEFLATED
            archive.writestr(entry, content)


def _content(book: Book) -> str:
    tables = "".join(_table(page) for page in book.pages)
    return (
        f'<?xml version="1.0" encoding="UTF-8"?><office:document-content xmlns:office="{_OFFICE}" '
        f'xmlns:table="{_TABLE}" xmlns:text="{_TEXT}" office:version="1.3"><office:body><office:spreadsheet>'
        f"{tables}</office:spreadsheet></office:body></office:document-content>"
    )


def _table(page: Page) -> str:
    rows = "".join(_row(cells, mark, page.width) for cells, mark in zip(page.rows, page.marks, strict=True))
    return f"<table:table table:name={quoteattr(page.name)}>{rows}</table:table>"


def _row(cells: tuple[Cell, ...], mark: Mark, width: int) -> str:
    if mark is Mark.BANNER:
        spanned = _cell(cells[0]).replace(
            "<table:table-cell", f'<table:table-cell table:number-columns-spanned="{width}"'
        )
        covered = f'<table:covered-table-cell table:number-columns-repeated="{width - 1}"/>'
        return f"<table:table-row>{spanned}{covered}</table:table-row>"
    content = "".join(_cell(cell) for cell in cells) or "<table:table-cell/>"
    return f"<table:table-row>{content}</table:table-row>"


def _cell(cell: Cell) -> str:
    if cell is None:
        return "<table:table-cell/>"
    kind, value, shown = _typed(cell)
    return f'<table:table-cell office:value-type="{kind}"{value}><text:p>{escape(shown)}</text:p></table:table-cell>'


def _typed(cell: str | float | date | time) -> tuple[str, str, str]:
    """Return the value type, its attribute and the text shown."""
    if isinstance(cell, str):
        return "string", "", cell
    if isinstance(cell, bool):
        return "boolean", f' office:boolean-value="{str(cell).lower()}"', str(cell).upper()
    if isinstance(cell, datetime):
        return "date", f' office:date-value="{cell:%Y-%m-%dT%H:%M:%S}"', f"{cell:%d/%m/%Y %H:%M}"
    if isinstance(cell, date):
        return "date", f' office:date-value="{cell:%Y-%m-%d}"', f"{cell:%d/%m/%Y}"
    if isinstance(cell, time):
        return "time", f' office:time-value="{cell:PT%HH%MM%SS}"', f"{cell:%H:%M}"
    return "float", f' office:value="{cell!r}"', f"{cell:g}"
