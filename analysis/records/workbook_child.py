"""What stands in every cell of a workbook, read where a hostile file can do no harm?

This file is run by its path in a process of its own, under limits on memory, processor time and output, and writes one
Arrow IPC stream for each sheet to standard output. It imports nothing of the house, so that it starts in a tenth of a
second. What it could not do it says as one JSON line on standard error; before each sheet it says which it starts, so
that the parent can name the sheet if this process is ended from outside.

Traps it knows: a legal file of two cells at opposite corners asks for more memory than there is (the process aborts);
a small file can swell to gigabytes; midnight comes as a date and other moments as date and time; 24 hours and more come
as a date in 1900; an error cell comes as an empty text.
"""

from __future__ import annotations

import datetime
import gc
import itertools
import json
import re
import runpy
import sys
import zipfile
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pyarrow as pa
from python_calamine import (
    CalamineError,
    CalamineSheet,
    CalamineWorkbook,
    SheetTypeEnum,
    SheetVisibleEnum,
)

if sys.platform != "win32":  # elsewhere the parent's time limit and the checks of size remain
    import resource

__all__ = ["BOOL", "CLOCK", "EMPTY", "ERROR", "MOMENT", "NUMBER", "REFUSED", "TEXT", "main"]

Error = tuple[int, int, str]  # the row and the column of a cell, counted from 0, and its text

EMPTY, TEXT, NUMBER, MOMENT, CLOCK, BOOL, ERROR = range(7)
REFUSED = 3

_ROWS_AT_A_TIME = 32_768
_TAG_OF_TYPE = {
    str: TEXT,
    float: NUMBER,
    int: NUMBER,
    datetime.datetime: MOMENT,
    datetime.date: MOMENT,
    datetime.time: CLOCK,
    datetime.timedelta: CLOCK,
    bool: BOOL,
}
# A spreadsheet's day 1 is 1 January 1900, and it counts a 29 February 1900 that never was.
_DAY_ZERO = np.datetime64("1899-12-31", "us")
_DAY_ZERO_AFTER_FEBRUARY = np.datetime64("1899-12-30", "us")
_MARCH_1900 = np.datetime64("1900-03-01", "us")
_FIRST_REAL_MOMENT = np.datetime64("1910-01-01", "us")
_SECOND = np.timedelta64(1, "s")


class _NoPandas:
    """Keeps Arrow from loading pandas, which it does only to ask whether an array is a Series: a third of the start."""

    def find_spec(self, name: str, *_: object) -> None:
        if name == "pandas":
            raise ModuleNotFoundError(name)


class RefusedError(Exception):
    """A file that is not read, with the kept code of the reason."""

    def __init__(self, code: str, detail: str = "") -> None:
        super().__init__(detail)
        self.code = code


@dataclass(frozen=True)
class ChildLimits:
    """What the parent allows: bytes of memory, seconds of processor, unpacked bytes, and cells of one sheet."""

    memory: int
    cpu: int
    unpacked: int
    cells: int
    columns: int


@dataclass
class ColumnParts:
    """The pieces of one column while its sheet is read, a piece for each block of rows."""

    tag: list[np.ndarray] = field(default_factory=list)
    text: list[pa.Array] = field(default_factory=list)
    number: list[np.ndarray | None] = field(default_factory=list)
    moment: list[np.ndarray | None] = field(default_factory=list)

    def add(self, cells: Sequence[Any]) -> None:
        """Take the next block of the column's cells; most blocks hold texts alone or numbers alone."""
        types = set(map(type, cells))
        if types == {str}:
            self._keep(np.full(len(cells), TEXT, dtype=np.int8), pa.array(cells, pa.string()), None, None)
        elif types == {float}:
            number = np.array(cells, dtype=np.float64)
            self._keep(np.full(len(cells), NUMBER, dtype=np.int8), pa.nulls(len(cells), pa.string()), number, None)
        else:
            self._add_mixed(cells)

    def _add_mixed(self, cells: Sequence[Any]) -> None:
        tag = np.fromiter(map(_TAG_OF_TYPE.__getitem__, map(type, cells)), dtype=np.int8, count=len(cells))
        held = np.empty(len(cells), dtype=object)
        held[:] = cells
        number, moment = _numbers(held, tag), _moments(held, tag)
        if moment is not None:
            number = _long_durations(tag, number, moment)
        self._keep(tag, pa.array(held, pa.string(), mask=tag != TEXT), number, moment)

    def _keep(self, tag: np.ndarray, text: pa.Array, number: np.ndarray | None, moment: np.ndarray | None) -> None:
        self.tag.append(tag)
        self.text.append(text)
        self.number.append(number)
        self.moment.append(moment)


def _numbers(held: np.ndarray, tag: np.ndarray) -> np.ndarray | None:
    is_number, is_clock = (tag == NUMBER) | (tag == BOOL), tag == CLOCK
    if not (is_number.any() or is_clock.any()):
        return None
    number = np.full(len(held), np.nan)
    number[is_number] = held[is_number].astype(np.float64)
    number[is_clock] = [_seconds(cell) for cell in held[is_clock]]
    return number


def _seconds(cell: datetime.time | datetime.timedelta) -> float:
    if isinstance(cell, datetime.timedelta):
        return cell.total_seconds()
    return cell.hour * 3600 + cell.minute * 60 + cell.second + cell.microsecond / 1e6


def _moments(held: np.ndarray, tag: np.ndarray) -> np.ndarray | None:
    """Return the moments; Arrow takes datetimes and dates apart ten times faster than numpy takes both together."""
    if not (tag == MOMENT).any():
        return None
    is_midnight = np.fromiter((type(cell) is datetime.date for cell in held), dtype=bool, count=len(held))
    moment = np.full(len(held), np.datetime64("NaT", "us"))
    for which, kind in (((tag == MOMENT) & ~is_midnight, pa.timestamp("us")), (is_midnight, pa.date32())):
        if which.any():
            moment[which] = pa.array(held[which], kind).cast(pa.timestamp("us")).to_numpy(zero_copy_only=False)
    return moment


def _long_durations(tag: np.ndarray, number: np.ndarray | None, moment: np.ndarray) -> np.ndarray | None:
    """Turn moments of 1900 back, in place, into the durations that they were; return the column's numbers."""
    early = moment < _FIRST_REAL_MOMENT
    if not early.any():
        return number
    zero = np.where(moment[early] < _MARCH_1900, _DAY_ZERO, _DAY_ZERO_AFTER_FEBRUARY)
    number = np.full(len(tag), np.nan) if number is None else number
    number[early] = (moment[early] - zero) / _SECOND
    moment[early] = np.datetime64("NaT")
    tag[early] = CLOCK
    return number


def _blocks(sheet: CalamineSheet) -> Iterator[list[list[Any]]]:
    """Return the cells column by column, a block of rows at a time; rows count from 1, columns from the first used."""
    rows = sheet.iter_rows()
    while block := list(itertools.islice(rows, _ROWS_AT_A_TIME)):
        cells, width = list(itertools.chain.from_iterable(block)), len(block[0])
        yield [cells[j::width] for j in range(width)]


def _read_columns(sheet: CalamineSheet, limits: ChildLimits) -> list[ColumnParts]:
    if sheet.start is None or sheet.end is None:
        return []
    height, width = sheet.end[0] + 1, sheet.end[1] + 1
    if width > limits.columns or height * width > limits.cells:
        raise RefusedError("sheet-too-large", f"{height} rows of {width} columns")
    columns = [ColumnParts() for _ in range(width)]
    for block in _blocks(sheet):
        nothing = [""] * len(block[0])
        for parts, cells in zip(columns, [nothing] * sheet.start[1] + block, strict=True):
            parts.add(cells)
    return columns


def _joined(pieces: Sequence[np.ndarray | None], tags: Sequence[np.ndarray], empty: Any) -> np.ndarray | None:
    if all(piece is None for piece in pieces):
        return None
    filled = [np.full(len(t), empty) if p is None else p for p, t in zip(pieces, tags, strict=True)]
    return np.concatenate(filled)


def _arrays(columns: Sequence[ColumnParts], errors: Sequence[Error]) -> tuple[list[Any], list[str]]:
    arrays: list[Any] = []
    names: list[str] = []
    for j, parts in enumerate(columns):
        tag = np.concatenate(parts.tag)
        words = pa.chunked_array(parts.text, pa.string()).dictionary_encode().combine_chunks()
        in_error = [(row, text) for row, column, text in errors if column == j and row < len(tag)]
        number = _joined(parts.number, parts.tag, np.nan)
        if in_error:
            words = _with_errors(words, tag, in_error)
            number = None if number is None else np.where(tag == ERROR, np.nan, number)  # some write a 0 beneath
        made = {
            "tag": tag,
            "words": words if words.null_count < len(words) else None,
            "number": number,
            "moment": _joined(parts.moment, parts.tag, np.datetime64("NaT", "us")),
        }
        for name, array in made.items():
            if array is not None:
                names.append(f"{j}.{name}")
                arrays.append(array if isinstance(array, pa.Array) else pa.array(array))
    return arrays, names


def _with_errors(words: Any, tag: np.ndarray, in_error: Sequence[tuple[int, str]]) -> Any:
    texts = words.cast(pa.string()).to_pylist()
    for row, text in in_error:
        texts[row] = text
        tag[row] = ERROR
    return pa.array(texts, pa.string()).dictionary_encode()


def _write_sheet(columns: Sequence[ColumnParts], errors: Sequence[Error], about: dict[str, Any], out: BinaryIO) -> None:
    arrays, names = _arrays(columns, errors)
    about |= {"rows": sum(map(len, columns[0].tag)) if columns else 0, "columns": len(columns)}
    schema = pa.schema([pa.field(n, a.type) for n, a in zip(names, arrays, strict=True)], {"sheet": json.dumps(about)})
    with pa.ipc.new_stream(out, schema) as stream:
        stream.write_batch(pa.record_batch(arrays, schema=schema))


def _error_cells(path: Path) -> list[list[Error]]:
    """Return the error cells of each sheet; what finds them stands beside this file and is run by its path."""
    found: list[list[Error]] = runpy.run_path(str(Path(__file__).with_name("workbook_errors.py")))["error_cells"](path)
    return found


def _set_limits(limits: ChildLimits) -> None:
    if sys.platform == "win32":
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    resource.setrlimit(resource.RLIMIT_CPU, (limits.cpu, limits.cpu + 1))
    resource.setrlimit(resource.RLIMIT_AS, (limits.memory, limits.memory))


def _check_unpacked(path: Path, limits: ChildLimits) -> None:
    if not zipfile.is_zipfile(path):
        return
    with zipfile.ZipFile(path) as archive:
        unpacked = sum(entry.file_size for entry in archive.infolist())
    if unpacked > limits.unpacked:
        raise RefusedError("file-swells", f"{unpacked} bytes")


_ENCRYPTED_PART = "EncryptedPackage".encode("utf-16-le")
_OLD_SHEET_START = re.compile(rb"\x09\x08\x10\x00\x00\x06\x05\x00.{12}", re.DOTALL)
_FILE_PASS = 0x2F
_RECORDS_BEFORE_PASS = 8


def _is_locked(path: Path) -> bool:
    """Tell whether a file that cannot be read is a workbook under a password; each format has its own sign."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            manifest = "META-INF/manifest.xml"
            return manifest in archive.namelist() and b"encryption-data" in archive.read(manifest)
    data = path.read_bytes()
    start = _OLD_SHEET_START.search(data)
    return _ENCRYPTED_PART in data or (start is not None and _has_file_pass(data, start.end()))


def _has_file_pass(data: bytes, at: int) -> bool:
    for _ in range(_RECORDS_BEFORE_PASS):
        kind, length = int.from_bytes(data[at : at + 2], "little"), int.from_bytes(data[at + 2 : at + 4], "little")
        if kind == _FILE_PASS:
            return True
        at += 4 + length
    return False


def _read(path: Path, limits: ChildLimits, out: BinaryIO) -> None:
    _check_unpacked(path, limits)
    with ThreadPoolExecutor(1) as beside, path.open("rb") as file, _opened(path, file) as workbook:
        errors = beside.submit(_error_cells, path)  # while the sheets are parsed, which needs no interpreter
        for i, about in enumerate(workbook.sheets_metadata):
            if about.typ != SheetTypeEnum.WorkSheet:
                continue
            _say(sheet=about.name)
            sheet = workbook.get_sheet_by_index(i)
            columns = _read_columns(sheet, limits)
            of_sheet = errors.result()[i : i + 1]
            hidden, merged = about.visible != SheetVisibleEnum.Visible, sheet.merged_cell_ranges or []
            told = {"name": sheet.name, "hidden": hidden, "merged": merged}
            _write_sheet(columns, of_sheet[0] if of_sheet else (), told, out)


def _opened(path: Path, file: BinaryIO) -> CalamineWorkbook:
    try:
        return CalamineWorkbook.from_filelike(file)
    except CalamineError as error:
        if _is_locked(path):
            raise RefusedError("file-locked") from error
        raise


def _say(**words: str) -> None:
    sys.stderr.write(json.dumps(words) + "\n")
    sys.stderr.flush()


def main(arguments: Sequence[str]) -> int:
    """Read the workbook that the first argument names, under the limits that the second gives as JSON."""
    path, limits = Path(arguments[0]), ChildLimits(**json.loads(arguments[1]))
    sys.meta_path.insert(0, _NoPandas())
    gc.disable()  # cells hold no cycles, and looking for some costs a third of the time
    _set_limits(limits)
    try:
        _read(path, limits, sys.stdout.buffer)
    except RefusedError as refusal:
        _say(code=refusal.code, detail=str(refusal))
    except MemoryError:
        _say(code="file-swells")
    except (CalamineError, zipfile.BadZipFile, OSError, ValueError) as error:
        _say(code="file-unreadable", detail=str(error))
    else:
        return 0
    return REFUSED


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
