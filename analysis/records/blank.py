"""What does an empty workbook look like that intake takes without a question?

One workbook for each kind of record, and one in which a row is a can. Each has the kept headers with their units, lists
to choose words from, one invented row marked as an example (which is ignored), and a guide.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from types import MappingProxyType

import xlsxwriter
from xlsxwriter.exceptions import XlsxFileError
from xlsxwriter.format import Format
from xlsxwriter.workbook import Workbook

from analysis.records.kinds import KINDS, Column
from analysis.records.marks import EXAMPLE, EXAMPLE_HEADER, GUIDE
from analysis.vocabulary import MEASURES, OPERATIONS

__all__ = ["write_blank"]

_Cell = str | float | date | datetime
_LAST_ROW = 5_000
_MEASURE_WORDS = tuple(name.replace("_", " ") for name in MEASURES)
_MEASURES_WITH_UNITS = tuple(f"{n.replace('_', ' ')} ({m.unit})" if m.unit else n for n, m in MEASURES.items())
_LISTS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "operation": tuple(name.replace("_", " ") for name in OPERATIONS),
        "quantity": _MEASURE_WORDS,
        "angle": ("90", "25"),
    }
)
_FORMATS = {"date": "yyyy-mm-dd", "moment": "yyyy-mm-dd hh:mm"}

# Invented, like everything about this brewery.
_EXAMPLES: Mapping[str, Mapping[str, _Cell]] = MappingProxyType(
    {
        "batches": {
            "batch": "2417", "recipe": "P40", "style": "pale ale", "brewed_on": date(2026, 3, 2), "volume": 25.0,
            "vessel": "FV3", "original_gravity": 10.4, "final_gravity": 2.3,
        },
        "transfers": {
            "from_batch": "2417", "to_batch": "2417", "from_vessel": "FV3", "to_vessel": "BBT1", "volume": 24.2,
            "moved_at": datetime(2026, 3, 14, 9, 30),
        },
        "operations": {
            "batch": "2417", "operation": "finings", "vessel": "FV3", "started_at": datetime(2026, 3, 12, 15, 0),
            "ended_at": datetime(2026, 3, 12, 15, 10), "minutes": 10.0, "amount": 300.0, "unit": "mL/hL",
            "agent": "isinglass", "note": "after the last rouse",
        },
        "pack_runs": {
            "run": "R0231", "batch": "2417", "packed_at": datetime(2026, 3, 16, 8, 15), "format": "can", "size": 440.0,
            "headspace": 20.0, "line": "L1", "fill_temperature": 2.5,
        },
        "readings": {
            "batch": "2417", "run": "R0231", "stage": "pack", "sample": "1",
            "measured_at": datetime(2026, 3, 16, 10, 0),
            "quantity": "dissolved oxygen", "value": 42.0, "unit": "µg/L", "temperature": 20.0, "meter": "OX1",
        },
        "tastings": {
            "run": "R0231", "tasted_on": date(2026, 4, 13), "panellist": "AB", "attribute": "papery", "score": 2.0,
            "scale": "0-9",
        },
        "taste_tests": {
            "run": "R0231", "other_run": "R0232", "test": "triangle", "tasted_on": date(2026, 4, 13), "tasters": 24.0,
            "correct": 13.0,
        },
        "meter_checks": {
            "meter": "OX1", "checked_at": datetime(2026, 3, 16, 7, 45), "quantity": "dissolved oxygen",
            "reference": 9092.0, "observed": 9070.0, "unit": "µg/L",
        },
        "targets": {
            "recipe": "P40", "format": "can", "quantity": "total oxygen (µg/L)", "upper": 100.0, "target": 60.0,
            "margin": 15.0,
        },
    }
)  # fmt: skip
_CAN_HEADERS = (
    "Run", "Batch", "Packed at", "Format", "Size (mL)", "Headspace (mL)", "Line", "Can", "DO (µg/L)", "TPO (µg/L)",
    "Oxygen meter", "Haze 90° (EBC)", "Haze meter", "Sample temperature (°C)",
)  # fmt: skip
_CAN_EXAMPLE: tuple[_Cell, ...] = (
    "R0231", "2417", datetime(2026, 3, 16, 8, 15), "can", 440.0, 20.0, "L1", "1", 42.0, 96.0, "OX1", 0.9, "HZ1", 20.0,
)  # fmt: skip
_GUIDE = (
    "Fill in one row for each {what}. Leave a cell empty where nothing was noted; “broken” counts as missing.",
    "Keep the headers. Another unit is fine if it stands in the header or beside the number: “DO (ppm)”, “300 mL/hL”.",
    "Write < before a reading below the meter's limit: “<5”.",
    "Columns of your own may stand beside: they are kept, and offered as practices.",
    "The row marked as an example is not taken in; delete it or leave it.",
)


@dataclass(frozen=True)
class _Sheet:
    """One sheet to be: its name, what a row is, and for each column the header, the example and the words to choose."""

    name: str
    row_is: str
    headers: tuple[str, ...]
    example: tuple[_Cell | None, ...]
    lists: tuple[tuple[str, ...], ...]
    needed: tuple[bool, ...]


def write_blank(folder: Path | str) -> tuple[Path, ...]:
    """Write the empty workbooks into a folder, which is made if need be; workbooks of these names are replaced.

    Raises
    ------
    ValueError
        If they cannot be written there.
    """
    folder = Path(folder)
    sheets = [_sheet_of(kind) for kind in KINDS]
    paths = []
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for sheet in (*sheets, _can_sheet()):
            path = folder / f"{sheet.name}.xlsx"
            _write(path, sheet)
            paths.append(path)
    except (XlsxFileError, OSError) as error:
        raise ValueError(
            f"write_blank: folder must be one that can be written, got {str(folder)!r} ({error})"
        ) from error
    return tuple(paths)


_ROW_IS = {
    "batches": "batch", "transfers": "move of beer from one vessel or batch to another",
    "operations": "job in the cellar",
    "pack_runs": "packaging run (two where a run was filled from two batches)", "readings": "reading",
    "tastings": "score", "taste_tests": "test", "meter_checks": "check of a meter", "targets": "recipe and measure",
}  # fmt: skip


def _sheet_of(kind: str) -> _Sheet:
    columns = KINDS[kind].headed
    example = _EXAMPLES[kind]
    return _Sheet(
        KINDS[kind].label, _ROW_IS[kind], tuple(_header(column) for column in columns),
        tuple(example.get(column.name) for column in columns), tuple(_words(kind, column) for column in columns),
        tuple(column.required for column in columns),
    )  # fmt: skip


def _can_sheet() -> _Sheet:
    lists = tuple(KINDS["pack_runs"].column("format").choices if header == "Format" else () for header in _CAN_HEADERS)
    needed = tuple(header in ("Run", "Batch", "Packed at") for header in _CAN_HEADERS)
    return _Sheet("Cans", "can, bottle or keg that was read", _CAN_HEADERS, _CAN_EXAMPLE, lists, needed)


def _header(column: Column) -> str:
    """Return a header as a person reads it: "Original gravity (°P)", "Started at"."""
    words = column.name.replace("_", " ").capitalize()
    return f"{words} ({column.unit})" if column.unit else words


def _words(kind: str, column: Column) -> tuple[str, ...]:
    if kind == "targets" and column.name == "quantity":
        return _MEASURES_WITH_UNITS
    return _LISTS.get(column.name) or tuple(choice.replace("_", " ") for choice in column.choices)


def _write(path: Path, sheet: _Sheet) -> None:
    with xlsxwriter.Workbook(path, {"strings_to_formulas": False, "strings_to_urls": False}) as workbook:
        formats = {name: workbook.add_format({"num_format": code}) for name, code in _FORMATS.items()}
        formats["header"] = workbook.add_format({"bold": True, "text_wrap": True, "bottom": 1})
        formats["example"] = workbook.add_format({"italic": True, "font_color": "#555555"})
        _write_records(workbook, sheet, formats)
        _write_guide(workbook, sheet)


def _write_records(workbook: Workbook, sheet: _Sheet, formats: Mapping[str, Format]) -> None:
    page = workbook.add_worksheet(sheet.name)
    page.freeze_panes(1, 0)
    page.set_column(0, len(sheet.headers), 16)
    for j, (header, cell, words) in enumerate(zip(sheet.headers, sheet.example, sheet.lists, strict=True)):
        page.write_string(0, j, header, formats["header"])
        if isinstance(cell, datetime):
            page.set_column(j, j, 18, formats["moment"])
            page.write_datetime(1, j, cell, formats["moment"])
        elif isinstance(cell, date):
            page.set_column(j, j, 14, formats["date"])
            page.write_datetime(1, j, datetime(cell.year, cell.month, cell.day), formats["date"])
        elif isinstance(cell, str):
            page.write_string(1, j, cell, formats["example"])
        elif cell is not None:
            page.write_number(1, j, cell, formats["example"])
        if words:
            page.data_validation(1, j, _LAST_ROW, j, {"validate": "list", "source": list(words), "ignore_blank": True})
    page.write_string(0, len(sheet.headers), EXAMPLE_HEADER, formats["header"])
    page.write_string(1, len(sheet.headers), EXAMPLE, formats["example"])


def _write_guide(workbook: Workbook, sheet: _Sheet) -> None:
    page = workbook.add_worksheet("Guide")
    page.set_column(0, 0, 110)
    needed: Sequence[str] = [h for h, is_needed in zip(sheet.headers, sheet.needed, strict=True) if is_needed]
    lines = [GUIDE, *(line.format(what=sheet.row_is) for line in _GUIDE)]
    if needed:
        lines.append(f"These must be filled in: {', '.join(needed)}.")
    for row, line in enumerate(lines):
        page.write_string(row, 0, line)
