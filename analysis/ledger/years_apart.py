"""How do records come right in a ledger that was written before numbers were told apart by their year?

Such a ledger holds the runs of two years as contradictions where their numbers began again, or the later year's in
place of the earlier one's. Nothing is read anew: what the files said is on record, and is weighed again.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Connection, bindparam, select, update

from analysis.ledger.anew import RUNS, anew_name, begins_anew
from analysis.ledger.applying import apply_changes
from analysis.ledger.book import Book, open_book, turn_state
from analysis.ledger.changes import Addition, Changes, Numbering, Tally, join_changes
from analysis.ledger.claims import conditions_on_keys, has_rows, make_ready_to_find
from analysis.ledger.history import MIGRATE
from analysis.ledger.identity import Marks, span_years
from analysis.ledger.packing import Packed, PackedColumn, pack_rows
from analysis.ledger.reading import plain_rows, read_numbers
from analysis.ledger.settling import settle_keys
from analysis.ledger.tables import FILES, KIND_TABLES, SHEETS, KindTables
from analysis.records.occasions import are_apart
from analysis.records.run_dates import packed_by_file

__all__ = ["tell_years_apart"]

_READINGS = "readings"
_BECAUSE = "Run and batch numbers that begin again each year are told apart by the day of packing."
_CHUNK = 10_000

Indices = npt.NDArray[np.int64]


def tell_years_apart(connection: Connection) -> None:
    """Weigh again what speaks of numbers that were used in two years; a new state where anything stands otherwise."""
    if not has_rows(connection, KIND_TABLES[RUNS].records):
        return
    _name_families(connection)
    book, numbering = open_book(connection), Numbering(connection)
    own = _date_readings(book, numbering)
    if len(own.promoted):
        apply_changes(book, own)
    changes = [_weighed(book, KIND_TABLES[kind], numbering) for kind in (RUNS, _READINGS)]
    altered = [change.kind for change in changes if change.alters]
    numbering.save()
    if not altered:
        return
    turn_state(book, MIGRATE, "Dropbright", datetime.now(), altered, because=_BECAUSE)
    for change in changes:
        apply_changes(book, change)


def _name_families(connection: Connection) -> None:
    """Give the sheets of files that were begun anew under their old name a family of their own, in order of time."""
    query = select(SHEETS.c.sheet, SHEETS.c.family, SHEETS.c.file, FILES.c.sha256).join(FILES).order_by(SHEETS.c.sheet)
    sheets = pd.DataFrame(connection.execute(query).all(), columns=["number", "family", "file", "sha256"])
    rows = read_numbers(connection, KIND_TABLES[RUNS].records, ("sheet", "key", "packed_at", "filled"))
    rows = rows[rows["filled"].eq(0) & rows["packed_at"].ne(0)]
    rows = rows.assign(moment=rows["packed_at"].astype("datetime64[us]")).merge(
        sheets, left_on="sheet", right_on="number", suffixes=("_number", "")
    )
    begun: dict[str, int] = {}
    seen: dict[int, int] = {}
    hashes: dict[str, int] = {}
    for file, own in sheets.groupby("file", sort=True):
        number = max((begun.get(family, 0) for family in own["family"]), default=0)
        now = rows[rows["file"].eq(file)].assign(sheet=lambda f: f["family"])
        sha = str(own["sha256"].iloc[0])
        if number and len(now) and sha not in hashes:
            earlier = [other for other, of in seen.items() if of == number]
            before = rows[rows["file"].isin(earlier)].assign(sheet=lambda f: f["family"])
            number += begins_anew(before[["sheet", "key", "moment"]], now[["sheet", "key", "moment"]]) is True
        number = hashes.get(sha, max(number, 1))
        seen[int(str(file))] = hashes[sha] = number
        begun |= dict.fromkeys(own["family"], number)
    names = [anew_name(family, seen[file]) for family, file in zip(sheets["family"], sheets["file"], strict=True)]
    changed = [
        {"row": number, "named": name}
        for number, family, name in zip(sheets["number"], sheets["family"], names, strict=True)
        if name != family
    ]
    if changed:
        statement = update(SHEETS).where(SHEETS.c.sheet == bindparam("row")).values(family=bindparam("named"))
        connection.execute(statement, changed)


def _date_readings(book: Book, numbering: Numbering) -> Changes:
    """Write beside each reading when its run was packed; return the rows that pointers of another year become."""
    rows, pointers = _told(book, _READINGS), _pointers(book, _READINGS)
    runs = pd.concat([_told(book, RUNS), _pointers(book, RUNS)], ignore_index=True)
    rows["packed_at"] = packed_by_file(rows, runs)
    _write(book.connection, rows)
    pointers["own"] = packed_by_file(pointers, runs)
    of_record = rows.set_index("record")["packed_at"].reindex(pointers["record"]).to_numpy(dtype="datetime64[us]")
    return _promoted(book, pointers[are_apart(of_record, pointers["own"].to_numpy("datetime64[us]"))], numbering)


def _told(book: Book, kind: str) -> pd.DataFrame:
    """Return what rows say of their run, batch and moment, and where they stand."""
    moment = "packed_at" if kind == RUNS else "measured_at"
    names = ("record", "run", "batch", moment, "sheet", "source_row")
    quote = book.connection.dialect.identifier_preparer.quote
    found = plain_rows(book.connection, f"SELECT {', '.join(map(quote, names))} FROM {quote(kind)}")
    frame = pd.DataFrame(found, columns=list(names))
    frame[moment] = pd.to_datetime(frame[moment].astype("Int64"), unit="us").astype("datetime64[us]")
    return _in_files(book, frame)


def _pointers(book: Book, kind: str) -> pd.DataFrame:
    """Return the same of rows that say what another row says."""
    tables = KIND_TABLES[kind]
    pointers = read_numbers(book.connection, tables.repeats, ("record", "sheet", "source_row", "key"))
    said = _told(book, kind).drop(columns=["sheet", "source_row", "file"])
    return _in_files(book, pointers.merge(said, on="record", how="left"))


def _in_files(book: Book, frame: pd.DataFrame) -> pd.DataFrame:
    files = {row.sheet: row.file for row in book.connection.execute(select(SHEETS.c.sheet, SHEETS.c.file))}
    return frame.assign(file=frame["sheet"].map(files))


def _write(connection: Connection, rows: pd.DataFrame) -> None:
    """Put the moments into the table of readings."""
    quote = connection.dialect.identifier_preparer.quote
    dated = rows[rows["packed_at"].notna()]
    moments = dated["packed_at"].to_numpy(dtype="datetime64[us]").view(np.int64)
    for micros, own in dated["record"].groupby(moments):
        records = own.tolist()
        for start in range(0, len(records), _CHUNK):
            among = ", ".join(map(str, records[start : start + _CHUNK]))
            connection.exec_driver_sql(
                f"UPDATE {quote(_READINGS)} SET {quote('packed_at')} = {micros} WHERE {quote('record')} IN ({among})"
            )


def _promoted(book: Book, pointers: pd.DataFrame, numbering: Numbering) -> Changes:
    """Return the change that makes rows of pointers: of two years' runs each has its own reading, alike or not."""
    tables, nothing = KIND_TABLES[_READINGS], Changes.none(_READINGS, Tally())
    if not len(pointers):
        return nothing
    names = (*tables.content, "sheet", "source_row", "record", "key", "content")
    quote = book.connection.dialect.identifier_preparer.quote
    columns = ", ".join(map(quote, names))
    found = [
        row
        for condition in conditions_on_keys(book.connection, np.unique(pointers["key"].to_numpy(np.int64)))
        for row in plain_rows(book.connection, f"SELECT {columns} FROM {quote(_READINGS)} WHERE {condition}")
    ]
    told = dict(zip(names, zip(*found, strict=True), strict=True))
    place = pd.Index(told["record"]).get_indexer(pd.Index(pointers["record"])).astype(np.int64)
    packed = pack_rows(tables.kind, told).take(place)
    moment = PackedColumn("packed_at", pointers["own"].to_numpy("datetime64[us]").view(np.int64))
    columns_now = tuple(moment if column.name == "packed_at" else column for column in packed.columns)
    sheet, row = (pointers[name].to_numpy(np.int64) for name in ("sheet", "source_row"))
    own = Packed(tables.kind, columns_now, sheet, row)
    marks = Marks(*(np.array(told[name], dtype=np.int64)[place] for name in ("key", "content")))
    record = numbering.records(_READINGS, len(own))
    addition = Addition(own, marks, record, stands=False)
    promoted = pointers[["record", "sheet", "source_row", "key"]].reset_index(drop=True)
    return replace(nothing, additions=(addition,), promoted=promoted)


def _weighed(book: Book, tables: KindTables, numbering: Numbering) -> Changes:
    """Return what stands otherwise about numbers that were used in two years."""
    rows = read_numbers(book.connection, tables.records, ("key", tables.kind.occasion))
    dated = rows[rows[tables.kind.occasion].ne(0)].groupby("key")[tables.kind.occasion].agg(["min", "max"])
    keys = dated.index.to_numpy(np.int64)[span_years(dated["min"].to_numpy(), dated["max"].to_numpy())]
    if not len(keys):
        return join_changes([Changes.none(tables.kind.name, Tally())])
    make_ready_to_find(book.connection, tables)
    return settle_keys(book, tables, keys, numbering)
