"""How does an intake come to be on record, whole or not at all?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import numpy as np
from sqlalchemy import Connection, insert

from analysis.ledger.book import Book, next_number, open_book, turn_state
from analysis.ledger.database import Database
from analysis.ledger.families import family_of_sheet
from analysis.ledger.offered import OfferedIntake
from analysis.ledger.packing import pack
from analysis.ledger.results import Commit, Counts
from analysis.ledger.settling import Incoming, apply_plan, incoming, plan_intake
from analysis.ledger.tables import COUNTS, FILES, INTAKES, SHEETS
from analysis.records import kinds

__all__ = ["commit"]


def commit(database: Database, intake: OfferedIntake, by: str, at: datetime) -> Commit:
    """Put an intake on record."""
    names = [(file.file, sheet.sheet) for file in intake.files for sheet in file.sheets]
    offered = [incoming(pack(kinds.kind(kind), frame, names)) for kind, frame in intake.records.items() if len(frame)]
    with database.writing() as connection:
        book = open_book(connection)
        if not offered:
            return Commit(None, book.state)
        return _land(book, intake, offered, by, at)


def _land(book: Book, intake: OfferedIntake, offered: list[Incoming], by: str, at: datetime) -> Commit:
    plans = [plan_intake(rows) for rows in offered]
    counts = {rows.packed.kind.name: plan.counts for rows, plan in zip(offered, plans, strict=True)}
    number = next_number(book.connection, INTAKES, "intake")
    state = turn_state(book, "intake", by, at, list(counts), intake=number)
    sheets = _write_sources(book.connection, intake, number, state, counts)
    for rows, plan in zip(offered, plans, strict=True):
        apply_plan(book, rows, plan, sheets)
    return Commit(number, state, counts)


def _write_sources(
    connection: Connection, intake: OfferedIntake, number: int, state: int, counts: Mapping[str, Counts]
) -> np.ndarray[Any, np.dtype[np.int64]]:
    """Write down the intake, its files and sheets; return the sheets' numbers."""
    connection.execute(insert(INTAKES).values(intake=number, state=state))
    for kind, count in counts.items():
        connection.execute(
            insert(COUNTS).values(
                intake=number, kind=kind, added=count.added, updated=count.updated,
                unchanged=count.unchanged, conflicting=count.conflicting,
            )
        )  # fmt: skip
    first_file = next_number(connection, FILES, "file")
    first_sheet = sheet_number = next_number(connection, SHEETS, "sheet")
    for file_number, file in enumerate(intake.files, start=first_file):
        connection.execute(insert(FILES).values(file=file_number, intake=number, name=file.file, sha256=file.sha256))
        for place, sheet in enumerate(file.sheets):
            connection.execute(
                insert(SHEETS).values(
                    sheet=sheet_number,
                    file=file_number,
                    intake=number,
                    place=place,
                    name=sheet.sheet,
                    family=family_of_sheet(file.file, sheet.sheet),
                    kind=sheet.kind,
                    header_row=sheet.header_row,
                    rows=sheet.rows,
                    accepted=sheet.accepted,
                    rejected=sheet.rejected,
                    ignored=sheet.ignored,
                    columns=json.dumps(dict(sheet.columns), ensure_ascii=False),
                    kept_as_extra=json.dumps(list(sheet.kept_as_extra), ensure_ascii=False),
                    layout=sheet.layout,
                    answers=None if sheet.answers is None else json.dumps(sheet.answers.as_document()),
                )
            )
            sheet_number += 1
    return np.arange(first_sheet, sheet_number, dtype=np.int64)
