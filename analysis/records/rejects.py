"""How are rejected rows handed back, to be mended and taken in again?

Each sheet's rejected rows are written under its own headers, with the reason in a last column that intake does not
read. Cells keep what they were: text, number or date. A date that was read stands as a date, because its order of day
and month may have been told by rows that were taken.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import xlsxwriter
from xlsxwriter.exceptions import XlsxFileError
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook
from xlsxwriter.worksheet import Worksheet

from analysis.records.cells import BOOL, CLOCK, EMPTY, MOMENT, NUMBER, RawColumn
from analysis.records.marks import REASON, REASON_AND_RUNS, SAMPLE, SAMPLE_AND_PACKS
from analysis.records.taken import Intake, RejectedRows

__all__ = ["write_rejects"]

_LONGEST_NAME = 31
_WIDEST = 60
_NOTHING = "No row was rejected."
_FORMATS = {"date": "yyyy-mm-dd", "moment": "yyyy-mm-dd hh:mm", "clock": "[hh]:mm"}
_FIRST_DAY = np.datetime64("1900-03-01", "us")


def write_rejects(intake: Intake, path: Path | str) -> None:
    """Write the rejected rows of an intake into a workbook, a sheet for each sheet that had any.

    Parameters
    ----------
    intake : Intake
    path : path
        The workbook, ``.xlsx``; an earlier one is replaced.

    Raises
    ------
    ValueError
        If it cannot be written there.
    """
    try:
        with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as workbook:
            formats = {name: workbook.add_format({"num_format": code}) for name, code in _FORMATS.items()}
            formats["header"] = workbook.add_format({"bold": True})
            taken: set[str] = set()
            for rejected in intake.rejects:
                _write_sheet(workbook, rejected, _sheet_name(rejected.sheet, taken), formats)
            if not intake.rejects:
                workbook.add_worksheet("Rejected").write_string(0, 0, _NOTHING)
    except (XlsxFileError, OSError) as error:
        raise ValueError(
            f"write_rejects: path must be a file that can be written, got {str(path)!r} ({error})"
        ) from error


def _sheet_name(name: str, taken: set[str]) -> str:
    """Return a name that a workbook allows and that no sheet of it has yet."""
    clean = re.sub(r"[\[\]:*?/\\]", " ", name).strip("' ") or "Sheet"
    unique, count = clean[:_LONGEST_NAME], 1
    while unique.casefold() in taken or unique.casefold() == "history":
        count += 1
        tail = f" ({count})"
        unique = clean[: _LONGEST_NAME - len(tail)] + tail
    taken.add(unique.casefold())
    return unique


def _write_sheet(workbook: Workbook, rejected: RejectedRows, name: str, formats: dict[str, Format]) -> None:
    sheet = workbook.add_worksheet(name)
    sheet.freeze_panes(1, 0)
    for j, (header, column) in enumerate(zip(rejected.headers, rejected.columns, strict=True)):
        sheet.write_string(0, j, header, formats["header"])
        for row in np.flatnonzero(column.tag != EMPTY).tolist():
            _write_cell(sheet, row + 1, j, column, row, formats)
    last = len(rejected.columns)
    if rejected.samples is not None:
        _write_texts(sheet, last, SAMPLE_AND_PACKS if rejected.packs_by_column else SAMPLE, rejected.samples, formats)
        last += 1
    _write_texts(sheet, last, REASON_AND_RUNS if rejected.runs_elsewhere else REASON, rejected.reasons, formats)
    sheet.set_column(last, last, _WIDEST)


def _write_texts(sheet: Worksheet, j: int, header: str, texts: Sequence[str], formats: dict[str, Format]) -> None:
    sheet.write_string(0, j, header, formats["header"])
    for row, text in enumerate(texts, start=1):
        if text:
            sheet.write_string(row, j, text)


def _write_cell(sheet: Worksheet, row: int, j: int, column: RawColumn, source: int, formats: dict[str, Format]) -> None:
    tag = column.tag[source]
    if tag == NUMBER and np.isfinite(column.number[source]):
        sheet.write_number(row, j, float(column.number[source]))
    elif tag == CLOCK:
        sheet.write_number(row, j, float(column.number[source]) / 86_400, formats["clock"])
    elif tag == BOOL:
        sheet.write_boolean(row, j, bool(column.number[source]))
    elif tag == MOMENT and column.moment[source] >= _FIRST_DAY:
        moment = column.moment[source]
        has_clock = moment != moment.astype("datetime64[D]")
        sheet.write_datetime(row, j, moment.astype("datetime64[us]").item(), formats["moment" if has_clock else "date"])
    else:
        sheet.write_string(row, j, column.text_at(source))
