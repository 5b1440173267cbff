"""Which sheets does a file hold, and what stands in their cells?

The one door for files of any kind: a workbook is read in a process of its own (``workbook_child``), a text file here
(``separated``). Whatever the file is, the answer is a ``ReadFile``; what was wrong with it is a ``Problem``.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import signal
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from analysis.problems import Problem
from analysis.records import workbook_child
from analysis.records.cells import CLOCK, RawColumn, RawSheet
from analysis.records.decimals import decimal_of_columns
from analysis.records.limits import Limits
from analysis.records.refusals import NotReadError, refusal
from analysis.records.separated import read_separated

__all__ = ["SUFFIXES", "ReadFile", "read_file"]

SUFFIXES = (".xlsx", ".xlsm", ".xls", ".xlsb", ".ods", ".csv", ".tsv", ".txt")

_WORKBOOK_STARTS = (
    b"PK\x03\x04",  # a zip archive: xlsx, xlsm, xlsb, ods
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",  # a compound file: xls, or a locked xlsx
    b"\x09\x08",  # a sheet of the first spreadsheet formats, with no file around it
    b"\x09\x04",
    b"\x09\x02",
)
_NOT_TABLES: Mapping[bytes, str] = {
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"GIF8": "a picture",
    b"\x7fELF": "a program",
    b"MZ\x90": "a program",
    b"\x1f\x8b": "a compressed archive",
    b"7z\xbc\xaf": "an archive",
    b"Rar!": "an archive",
    b"{\\rtf": "a word processor's document",
    b"<?xml": "an XML document",
    b"<html": "a web page",
    b"<!DOC": "a web page",
    b"PAR1": "a Parquet table",
    b"SQLite format": "a database",
}
_LONGEST_START = 16
_SPELT_DURATION = re.compile(r"PT(?P<hours>\d+)H(?P<minutes>\d+)M(?P<seconds>\d+(?:\.\d+)?)S")
_CHILD_SETTINGS = {"OPENBLAS_NUM_THREADS": "1", "ARROW_DEFAULT_MEMORY_POOL": "system", "MALLOC_ARENA_MAX": "2"}


@dataclass(frozen=True, eq=False)
class ReadFile:
    """What a file held: its sheets, or a problem that says why there are none."""

    file: str
    sha256: str
    sheets: tuple[RawSheet, ...]
    problems: tuple[Problem, ...] = ()


def read_file(path: Path, name: str | None = None, limits: Limits | None = None) -> ReadFile:
    """Return the sheets of a file, whatever it is; nothing that stands in it makes this raise.

    Parameters
    ----------
    path : Path
        The file: xlsx, xlsm, xls, xlsb, ods, or separated text. What it is is told from its bytes, not from its name.
    name : str, optional
        What the user calls it, where ``path`` is a copy under another name.
    limits : Limits, optional
        What it may ask for.
    """
    file, limits = name or path.name, limits or Limits()
    try:
        return _read(path, file, limits)
    except NotReadError as why:
        return ReadFile(file, _sha256_or_nothing(path), (), (refusal(file, why),))


def _read(path: Path, file: str, limits: Limits) -> ReadFile:
    try:
        size = path.stat().st_size
        with path.open("rb") as opened:
            start = opened.read(_LONGEST_START)
    except OSError as error:
        raise NotReadError("file-unreadable", error.strerror or "") from error
    if size == 0:
        raise NotReadError("file-empty")
    if start.startswith(_WORKBOOK_STARTS):
        _check_size(size, limits.workbook_bytes)
        return _read_workbook(path, file, limits)
    for bytes_, what in _NOT_TABLES.items():
        if start.lstrip(b"\xef\xbb\xbf \r\n\t").lower().startswith(bytes_.lower()):
            raise NotReadError("file-not-a-table", what)
    _check_size(size, limits.text_bytes)
    data = path.read_bytes()
    sheet, problems = read_separated(data, file, limits)
    return ReadFile(file, hashlib.sha256(data).hexdigest(), (sheet,), problems)


def _check_size(size: int, allowed: int) -> None:
    if size > allowed:
        raise NotReadError("file-too-large", f"{size / 1e6:.0f} MB, {allowed / 1e6:.0f} MB are allowed")


def _sha256_or_nothing(path: Path) -> str:
    try:
        return _sha256(path)
    except OSError:
        return ""


def _sha256(path: Path) -> str:
    with path.open("rb") as opened:
        return hashlib.file_digest(opened, "sha256").hexdigest()


def _read_workbook(path: Path, file: str, limits: Limits) -> ReadFile:
    allowed = workbook_child.ChildLimits(
        limits.memory, limits.processor, limits.unpacked_bytes, limits.cells, limits.columns
    )
    child = subprocess.Popen(
        [sys.executable, "-P", workbook_child.__file__, str(path.absolute()), json.dumps(asdict(allowed))],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env={**os.environ, **_CHILD_SETTINGS},
    )
    try:
        sha256 = _sha256(path)  # while the child reads
        written, said = child.communicate(timeout=limits.wall)
    except subprocess.TimeoutExpired as late:
        raise NotReadError("file-too-slow", f"{limits.wall:.0f} s") from late
    finally:
        if child.poll() is None:
            child.kill()
            child.communicate()
    if child.returncode != 0:
        raise _why_it_ended(child.returncode, said)
    sheets = tuple(_sheets_of(written, file))
    return ReadFile(file, sha256, sheets)


def _why_it_ended(status: int, said: bytes) -> NotReadError:
    words: dict[str, str] = {}
    for line in said.decode("utf-8", "replace").splitlines():
        if line.startswith("{"):
            words.update(json.loads(line))
    sheet = words.get("sheet")
    if status == workbook_child.REFUSED:
        return NotReadError(words.get("code", "file-unreadable"), words.get("detail", ""), sheet)
    if hasattr(signal, "SIGXCPU") and status in (-signal.SIGXCPU, -signal.SIGKILL):
        return NotReadError("file-too-slow", "", sheet)
    if hasattr(signal, "SIGABRT") and status == -signal.SIGABRT:
        return NotReadError("sheet-too-large", "", sheet)
    return NotReadError("file-unreadable", "", sheet)


def _sheets_of(written: bytes, file: str) -> list[RawSheet]:
    reader = pa.BufferReader(written)
    sheets = []
    while reader.tell() < len(written):
        with pa.ipc.open_stream(reader) as stream:
            table = stream.read_all()
        sheets.append(_sheet_of(table, json.loads(table.schema.metadata[b"sheet"]), file))
    return sheets


def _sheet_of(table: Any, about: Mapping[str, Any], file: str) -> RawSheet:
    arrays = dict(zip(table.column_names, (column.combine_chunks() for column in table.columns), strict=True))
    columns = tuple(_column_of(arrays, j, about["rows"]) for j in range(about["columns"]))
    merged = tuple((first[0], first[1], last[0], last[1]) for first, last in about["merged"])
    decimal = decimal_of_columns(column.words for column in columns)
    return RawSheet(file, about["name"], columns, about["rows"], merged, about["hidden"], decimal)


def _column_of(arrays: Mapping[str, Any], j: int, n: int) -> RawColumn:
    words = arrays.get(f"{j}.words")
    number = arrays.get(f"{j}.number")
    moment = arrays.get(f"{j}.moment")
    column = RawColumn.of_cells(
        arrays[f"{j}.tag"].to_numpy(),
        np.full(n, -1, dtype=np.int32) if words is None else words.indices.fill_null(-1).to_numpy(),
        pa.array([], pa.string()) if words is None else words.dictionary,
        None if number is None else number.to_numpy(),
        None if moment is None else moment.to_numpy(zero_copy_only=False),
    )
    return _with_durations(column)


def _with_durations(column: RawColumn) -> RawColumn:
    """Turn the durations that an ods file spells out ("PT288H00M00S") into native ones."""
    if not pc.any(pc.starts_with(column.words, "PT")).as_py():
        return column
    found = [_SPELT_DURATION.fullmatch(word) for word in column.words.to_pylist()]
    seconds = np.array([_seconds(match) if match else np.nan for match in found] + [np.nan])[column.code]
    is_duration = ~np.isnan(seconds)
    return RawColumn(
        np.where(is_duration, np.int8(CLOCK), column.tag),
        np.where(is_duration, np.int32(-1), column.code),
        column.words,
        np.where(is_duration, seconds, column.number),
        column.moment,
    )


def _seconds(spelt: re.Match[str]) -> float:
    return float(spelt["hours"]) * 3600 + float(spelt["minutes"]) * 60 + float(spelt["seconds"])
