"""What was taken in, by whom, when, and how was it read?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import Any

from sqlalchemy import Connection, Row, select

from analysis.ledger.results import Counts, FileEntry, IntakeEntry, SheetEntry, Taking
from analysis.ledger.tables import COUNTS, FILES, INTAKES, SHEETS, STATES
from analysis.records.answers import Answers

__all__ = ["MIGRATE", "history", "remembered", "upgrades"]

MIGRATE = "migrate"
"""What ``STATES`` says of a state that a newer version made of what an older one had written."""


def history(connection: Connection) -> tuple[IntakeEntry, ...]:
    """Return every intake, the withdrawn ones too, in order."""
    takings = {row.state: _taking(row) for row in connection.execute(select(STATES))}
    files = _files(connection)
    counts: dict[int, dict[str, Counts]] = {}
    for row in connection.execute(select(COUNTS)):
        fates = Counts(row.added, row.updated, row.unchanged, row.conflicting)
        counts.setdefault(row.intake, {})[row.kind] = fates
    return tuple(
        IntakeEntry(
            row.intake,
            takings[row.state],
            tuple(files.get(row.intake, ())),
            MappingProxyType(counts.get(row.intake, {})),
            None if row.withdrawn is None else takings[row.withdrawn],
        )
        for row in connection.execute(select(INTAKES).order_by(INTAKES.c.intake))
    )


def upgrades(connection: Connection) -> tuple[Taking, ...]:
    """Return the states in which records stood otherwise because a newer version told more of them, in order."""
    query = select(STATES).where(STATES.c.action == MIGRATE).order_by(STATES.c.state)
    return tuple(_taking(row) for row in connection.execute(query))


def remembered(connection: Connection) -> Mapping[str, Answers]:
    """Return the last answers that were given for each layout, but for those of withdrawn intakes."""
    query = (
        select(SHEETS.c.layout, SHEETS.c.answers)
        .join(INTAKES)
        .where(SHEETS.c.layout.is_not(None), SHEETS.c.answers.is_not(None), INTAKES.c.withdrawn.is_(None))
        .order_by(SHEETS.c.sheet)
    )
    rows = connection.execute(query)
    return MappingProxyType({row.layout: Answers.from_document(json.loads(row.answers)) for row in rows})


def _taking(row: Row[Any]) -> Taking:
    return Taking(row.state, row.by, datetime.fromisoformat(row.at), row.because)


def _files(connection: Connection) -> dict[int, list[FileEntry]]:
    """Return the files of each intake."""
    sheets: dict[int, list[SheetEntry]] = {}
    for row in connection.execute(select(SHEETS).order_by(SHEETS.c.sheet)):
        sheets.setdefault(row.file, []).append(_sheet(row))
    files: dict[int, list[FileEntry]] = {}
    for row in connection.execute(select(FILES).order_by(FILES.c.file)):
        entry = FileEntry(row.name, row.sha256, tuple(sheets.get(row.file, ())))
        files.setdefault(row.intake, []).append(entry)
    return files


def _sheet(row: Row[Any]) -> SheetEntry:
    return SheetEntry(
        row.name,
        row.kind,
        row.header_row,
        row.rows,
        row.accepted,
        row.rejected,
        row.ignored,
        MappingProxyType(json.loads(row.columns)),
        tuple(json.loads(row.kept_as_extra)),
        row.layout,
        None if row.answers is None else Answers.from_document(json.loads(row.answers)),
    )
