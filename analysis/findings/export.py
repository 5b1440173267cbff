"""How are a table's numbers taken away, with what they rest on beside them?"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import xlsxwriter

__all__ = ["CONTENT_TYPES", "FORMS", "ExportNote", "Form", "export_table"]

Form = Literal["xlsx", "csv", "parquet"]
FORMS: tuple[Form, ...] = ("xlsx", "csv", "parquet")
CONTENT_TYPES: Mapping[str, str] = {
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "csv": "text/csv; charset=utf-8",
    "parquet": "application/vnd.apache.parquet",
}
# A spreadsheet program takes text that starts so for a formula or runs it on opening.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
# A program that parts a csv at semicolons or tabs sees a new cell behind each, and behind the end of a line.
_INNER_START = re.compile(r"([;\t\r\n][\s\"]*)(?=[=+\-@])")
_INNER_START_OF_NOTE = re.compile(r"([,;]\s*)(?=[=+\-@])")


@dataclass(frozen=True)
class ExportNote:
    """What stands beside exported numbers.

    ``units`` maps a column to its unit; ``filters`` is the selection in words; ``ledger_state`` the state of the
    ledger that the numbers were computed from; ``cautions`` whatever must travel with them.
    """

    title: str
    ledger_state: int
    filters: str
    units: Mapping[str, str] = field(default_factory=dict)
    cautions: Sequence[str] = ()
    made_at: datetime | None = None

    def lines(self) -> list[tuple[str, str]]:
        """Return the note as pairs of a word and a text."""
        pairs = [("What", self.title), ("Selection", self.filters), ("Ledger state", str(self.ledger_state))]
        if self.made_at is not None:
            pairs.append(("Made", self.made_at.isoformat(sep=" ", timespec="minutes")))
        pairs += [("Unit", f"{column}: {unit}") for column, unit in self.units.items() if unit]
        return pairs + [("Caution", caution) for caution in self.cautions]


def export_table(frame: pd.DataFrame, note: ExportNote, form: Form) -> bytes:
    """Return a table as the bytes of a file.

    A csv carries the note in lines that start with ``#`` above the header; a workbook on a sheet of its own; a parquet
    file in its schema's metadata. Text that a spreadsheet would run as a formula is kept as text: in a workbook as a
    text cell, in a csv behind an apostrophe, wherever a program may begin a cell in it. Numbers are left alone.

    Parameters
    ----------
    frame : DataFrame
        One row a line; the index is not written.
    note : ExportNote
    form : {"xlsx", "csv", "parquet"}

    Raises
    ------
    ValueError
        If ``form`` is none of the three.
    """
    makers = {"xlsx": _workbook, "csv": _separated, "parquet": _parquet}
    if form not in makers:
        raise ValueError(f"export_table: form must be one of {', '.join(FORMS)}, got {form!r}")
    return makers[form](frame, note)


def _separated(frame: pd.DataFrame, note: ExportNote) -> bytes:
    out = io.StringIO(newline="")
    for word, text in note.lines():
        out.write(f"# {word}: {_note_text(text)}\r\n")
    safe = frame.apply(_without_formulas)
    safe.columns = [_text_only(str(column)) for column in frame.columns]
    safe.to_csv(out, index=False, lineterminator="\r\n")
    return out.getvalue().encode("utf-8-sig")


def _without_formulas(column: pd.Series) -> pd.Series:
    if pd.api.types.is_numeric_dtype(column) or pd.api.types.is_datetime64_any_dtype(column):
        return column
    return column.map(lambda cell: _text_only(cell) if isinstance(cell, str) else cell)


def _text_only(text: str) -> str:
    text = _INNER_START.sub(r"\1'", text)
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _note_text(text: str) -> str:
    """Return a text of the note on one line, which no separator in it parts into a formula."""
    return _INNER_START_OF_NOTE.sub(r"\1'", " ".join(text.replace('"', "'").split()))


def _workbook(frame: pd.DataFrame, note: ExportNote) -> bytes:
    out = io.BytesIO()
    book = xlsxwriter.Workbook(
        out, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "nan_inf_to_errors": False}
    )
    _write_numbers(book, frame, note.units)
    about = book.add_worksheet("About")
    about.set_column(0, 0, 16)
    about.set_column(1, 1, 90)
    for row, (word, text) in enumerate(note.lines()):
        about.write_string(row, 0, word)
        about.write_string(row, 1, text)
    book.close()
    return out.getvalue()


def _write_numbers(book: xlsxwriter.Workbook, frame: pd.DataFrame, units: Mapping[str, str]) -> None:
    sheet = book.add_worksheet("Numbers")
    heading = book.add_format({"bold": True, "bottom": 1})
    moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    for place, column in enumerate(frame.columns):
        unit = units.get(str(column), "")
        title = f"{column} [{unit}]" if unit else str(column)
        sheet.write_string(0, place, title, heading)
        sheet.set_column(place, place, min(max(len(title) + 2, 10), 40))
        for row, cell in enumerate(frame[column], start=1):
            _write_cell(sheet, row, place, cell, moment)
    sheet.freeze_panes(1, 0)
    if len(frame.columns):
        sheet.autofilter(0, 0, max(len(frame), 1), len(frame.columns) - 1)


def _write_cell(
    sheet: xlsxwriter.workbook.Worksheet, row: int, place: int, cell: object, moment: xlsxwriter.workbook.Format
) -> None:
    if cell is None or cell is pd.NA or cell is pd.NaT:
        return
    if isinstance(cell, (bool, np.bool_)):
        sheet.write_boolean(row, place, bool(cell))
    elif isinstance(cell, (int, float, np.integer, np.floating)):
        if np.isfinite(cell):
            sheet.write_number(row, place, float(cell))
    elif isinstance(cell, datetime):
        sheet.write_datetime(row, place, cell, moment)
    else:
        sheet.write_string(row, place, str(cell))


def _parquet(frame: pd.DataFrame, note: ExportNote) -> bytes:
    table = pa.Table.from_pandas(frame, preserve_index=False)
    about = json.dumps({"note": note.lines(), "units": dict(note.units)}, ensure_ascii=False)
    kept = {**(table.schema.metadata or {}), b"dropbright": about.encode()}
    out = io.BytesIO()
    pq.write_table(table.replace_schema_metadata(kept), out)
    return out.getvalue()
