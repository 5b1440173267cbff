"""Which cells of a workbook hold an error (#DIV/0!, #N/A), which calamine gives as empty ones?

Run by its path within ``workbook_child``, so it imports nothing of the house.

Source: ECMA-376 part 1, 18.18.11 (xlsx); OASIS OpenDocument 1.3 part 3, 9.1.4 and LibreOffice's ``calcext:value-type``
(ods); MS-CFB 2.2 to 2.6 for the streams of an old file, MS-XLS 2.4.24 BoolErr, 2.4.127 Formula, 2.4.28 BoundSheet8 and
2.5.10 Bes for its cells (xls). An xlsb file is not looked at: its errors stay empty cells.
"""

from __future__ import annotations

import html
import re
import struct
import zipfile
from collections.abc import Iterator
from pathlib import Path

__all__ = ["error_cells"]

Error = tuple[int, int, str]  # the row and the column of a cell, counted from 0, and its text

_PIECE = 1 << 20
_OLD_START = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"


def error_cells(path: Path) -> list[list[Error]]:
    """Return the row, column and text of every error cell, a list for each sheet in order."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            names = set(archive.namelist())
            if {"xl/workbook.xml", "xl/_rels/workbook.xml.rels"} <= names:
                return _of_xlsx(archive, names)
            return _of_ods(archive) if "content.xml" in names else []
    with path.open("rb") as file:
        if file.read(len(_OLD_START)) != _OLD_START:
            return []
    return _of_xls(path.read_bytes())


_ERROR_CELL = re.compile(rb'<c\b([^>]*?\bt="e"[^>]*)>(.*?)</c>', re.DOTALL)
_CELL_ADDRESS = re.compile(rb'\br="([A-Z]+)([0-9]+)"')
_CELL_VALUE = re.compile(rb"<v>([^<]*)</v>")
_SHEET_ENTRY = re.compile(rb"<(?:\w+:)?sheet\b[^>]*>")
_RELATION = re.compile(rb"<(?:\w+:)?Relationship\b[^>]*>")


def _attribute(tag: bytes, name: bytes) -> bytes:
    found = re.search(rb"\b" + name + rb'="([^"]*)"', tag)
    return found.group(1) if found else b""


def _of_xlsx(archive: zipfile.ZipFile, names: set[str]) -> list[list[Error]]:
    targets = {
        _attribute(r, b"Id"): _attribute(r, b"Target").decode("utf-8", "replace")
        for r in _RELATION.findall(archive.read("xl/_rels/workbook.xml.rels"))
    }
    sheets = [targets.get(_attribute(s, b"r:id"), "") for s in _SHEET_ENTRY.findall(archive.read("xl/workbook.xml"))]
    parts = [t.lstrip("/") if t.startswith("/") else f"xl/{t}" for t in sheets]
    return [_errors_of_part(archive, part) if part in names else [] for part in parts]


def _errors_of_part(archive: zipfile.ZipFile, part: str) -> list[Error]:
    """Read a sheet's part a piece at a time, each cut behind the last whole cell."""
    found: list[Error] = []
    with archive.open(part) as opened:
        rest = b""
        while piece := opened.read(_PIECE):
            held = rest + piece
            whole = held.rfind(b"</c>") + len(b"</c>") if b"</c>" in held else 0
            rest = held[whole:][-_PIECE:]
            if b't="e"' in held:
                found += filter(None, map(_error_of, _ERROR_CELL.finditer(held, 0, whole)))
    return found


def _error_of(cell: re.Match[bytes]) -> Error | None:
    address, value = _CELL_ADDRESS.search(cell.group(1)), _CELL_VALUE.search(cell.group(2))
    if address is None or value is None:
        return None
    column = 0
    for letter in address.group(1):
        column = column * 26 + letter - 64
    return int(address.group(2)) - 1, column - 1, value.group(1).decode("utf-8", "replace")


_WORD = rb"#(?:DIV/0!|N/A|REF!|VALUE!|NAME\?|NUM!|NULL!)|Err:[0-9]{3}"
_SIGN = re.compile(rb'calcext:value-type="error"|>(?:' + _WORD + rb")<")
_TABLE = re.compile(rb"<table:table[ >].*?</table:table>", re.DOTALL)
_ROW_OR_CELL = re.compile(rb"<table:(table-row|table-cell|covered-table-cell)(?=[\s/>])([^>]*)>")
_CELL_END = re.compile(rb"</table:(?:covered-)?table-cell>")
_SHOWN = re.compile(rb"<text:p[^>]*>([^<]*)</text:p>")
_REPEATED = re.compile(rb'table:number-(?:columns|rows)-repeated="([0-9]+)"')
_MOST_REPEATED = 1_000  # rows or columns that one error cell may stand for


def _of_ods(archive: zipfile.ZipFile) -> list[list[Error]]:
    if not _has_sign(archive):
        return []
    return [_errors_of_table(table.group()) for table in _TABLE.finditer(archive.read("content.xml"))]


def _has_sign(archive: zipfile.ZipFile) -> bool:
    """Tell whether an error stands anywhere, a piece at a time: nearly no file has one."""
    with archive.open("content.xml") as opened:
        rest = b""
        while piece := opened.read(_PIECE):
            if _SIGN.search(rest + piece):
                return True
            rest = piece[-64:]
    return False


def _errors_of_table(table: bytes) -> list[Error]:
    found: list[Error] = []
    row, rows, column = -1, 1, 0
    for tag in _ROW_OR_CELL.finditer(table):
        name, attributes = tag.groups()
        repeated = _REPEATED.search(attributes)
        times = int(repeated.group(1)) if repeated else 1
        if name == b"table-row":
            row, rows, column = row + rows if row >= 0 else 0, times, 0
            continue
        if not attributes.endswith(b"/"):
            text = _error_shown(table, tag)
            if text is not None:
                down, across = range(row, row + min(rows, _MOST_REPEATED)), range(min(times, _MOST_REPEATED))
                found += [(r, column + c, text) for r in down for c in across]
        column += times
    return found


def _error_shown(table: bytes, cell: re.Match[bytes]) -> str | None:
    """Return the text of a cell that is an error: it is said to be one, or is a formula that shows an error's word."""
    end = _CELL_END.search(table, cell.end())
    shown = _SHOWN.search(table, cell.end(), end.start() if end else len(table))
    text = html.unescape(shown.group(1).decode("utf-8", "replace")) if shown else ""
    if b'calcext:value-type="error"' in cell.group(2):
        return text or "#N/A"
    is_word = re.fullmatch(_WORD, text.encode()) is not None
    return text if is_word and b"table:formula=" in cell.group(2) else None


_END_OF_CHAIN = 0xFFFFFFFA
_SHORT, _PART = 4096, 64  # a stream below so many bytes is kept in parts of so many
_WORDS = {0: "#NULL!", 7: "#DIV/0!", 15: "#VALUE!", 23: "#REF!", 29: "#NAME?", 36: "#NUM!", 42: "#N/A"}
_OLD_CODES = rb"[\x00\x07\x0f\x17\x1d\x24\x2a]"
_OLD_SIGN = re.compile(
    rb"\x05\x02\x08\x00.{6}" + _OLD_CODES + rb"\x01|\x06\x00..{7}\x02." + _OLD_CODES + rb".{3}\xff\xff", re.DOTALL
)
_BOOL_ERR, _FORMULA, _BOUND_SHEET, _END_OF_FILE = 0x0205, 0x0006, 0x0085, 0x000A


def _of_xls(data: bytes) -> list[list[Error]]:
    """Return the error cells of an old workbook; nothing of one that is damaged, which calamine tells of."""
    try:
        stream = _workbook_stream(data)
        if stream is None or not _OLD_SIGN.search(stream):
            return []
        starts = [struct.unpack_from("<I", body)[0] for kind, body in _records(stream, 0) if kind == _BOUND_SHEET]
        return [list(_errors_of_old_sheet(stream, start)) for start in starts]
    except (struct.error, IndexError):
        return []


def _errors_of_old_sheet(stream: bytes, start: int) -> Iterator[Error]:
    for kind, body in _records(stream, start):
        if kind == _BOOL_ERR and len(body) >= 8 and body[7] == 1:
            code = body[6]
        elif kind == _FORMULA and len(body) >= 14 and body[6] == 2 and body[12:14] == b"\xff\xff":
            code = body[8]
        else:
            continue
        row, column = struct.unpack_from("<HH", body)
        yield row, column, _WORDS.get(code, "#N/A")


def _records(stream: bytes, at: int) -> Iterator[tuple[int, bytes]]:
    """Give the records of one substream, from its beginning to its end."""
    while at + 4 <= len(stream):
        kind, length = struct.unpack_from("<HH", stream, at)
        if kind == _END_OF_FILE:
            return
        yield kind, stream[at + 4 : at + 4 + length]
        at += 4 + length


def _workbook_stream(data: bytes) -> bytes | None:
    """Return the stream of the workbook's records, None where the file has none."""
    size = 1 << _number(data, 30, "<H")
    table = _table_of_sectors(data, size)
    directory = _chain(data, table, _number(data, 48), size)
    for at in range(0, len(directory), 128):
        entry = directory[at : at + 128]
        name = entry[: max(_number(entry, 64, "<H") - 2, 0)].decode("utf-16-le", "replace")
        if name in ("Workbook", "Book"):
            first, length = _number(entry, 116), _number(entry, 120)
            if length >= _SHORT:
                return _chain(data, table, first, size)[:length]
            short = _chain(data, table, _number(directory, 116), size)  # the root entry's stream holds the short ones
            links = _links(_numbers(_chain(data, table, _number(data, 60), size)), first)
            return b"".join(short[i * _PART : (i + 1) * _PART] for i in links)[:length]
    return None


def _table_of_sectors(data: bytes, size: int) -> tuple[int, ...]:
    """Return which sector follows each one."""
    listed = list(struct.unpack_from("<109I", data, 76))
    more = _number(data, 68)
    for _ in range(min(_number(data, 72), len(data) // size)):
        part = _numbers(_sector(data, more, size))
        listed, more = [*listed, *part[:-1]], part[-1]
    return _numbers(b"".join(_sector(data, sector, size) for sector in listed if sector < _END_OF_CHAIN))


def _chain(data: bytes, table: tuple[int, ...], first: int, size: int) -> bytes:
    return b"".join(_sector(data, sector, size) for sector in _links(table, first))


def _links(table: tuple[int, ...], first: int) -> Iterator[int]:
    """Give the sectors of a chain; one that runs in a circle ends where every sector was given once."""
    for _ in range(len(table)):
        if first >= min(_END_OF_CHAIN, len(table)):
            return
        yield first
        first = table[first]


def _sector(data: bytes, sector: int, size: int) -> bytes:
    return data[(sector + 1) * size : (sector + 2) * size]


def _numbers(data: bytes) -> tuple[int, ...]:
    return struct.unpack(f"<{len(data) // 4}I", data[: len(data) // 4 * 4])


def _number(data: bytes, at: int, form: str = "<I") -> int:
    return int(struct.unpack_from(form, data, at)[0])
