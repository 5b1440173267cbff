"""Which things are on record with values that contradict each other, and who says what?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any

import numpy as np
import numpy.typing as npt
from sqlalchemy import Connection, Row, select

from analysis.ledger.identity import is_compared
from analysis.ledger.tables import FILES, INTAKES, KIND_TABLES, SHEETS, STATES, KindTables
from analysis.records import kinds
from analysis.vocabulary import measure

__all__ = ["Cell", "Claim", "Conflict", "claims_of", "open_conflicts"]

Cell = str | float | date | datetime | None

_EPOCH = datetime(1970, 1, 1)
_CHUNK = 5_000  # conflicts that stand in one statement


@dataclass(frozen=True)
class Claim:
    """What one row says: every column of its kind and ``extra``, and where, when and by whom it was taken in."""

    record: int
    values: Mapping[str, Cell]
    file: str
    sheet: str
    source_row: int
    intake: int
    by: str
    at: datetime


@dataclass(frozen=True)
class Conflict:
    """One thing about which rows contradict each other; ``columns`` are those in which they differ."""

    number: int
    kind: str
    about: Mapping[str, Cell]
    columns: tuple[str, ...]
    claims: tuple[Claim, ...]

    @property
    def subject(self) -> str:
        """What the conflict is about, in words."""
        return ", ".join(_said_of(name, value) for name, value in self.about.items())


def open_conflicts(
    connection: Connection, kind: str, numbers: npt.NDArray[np.int64] | None = None
) -> tuple[Conflict, ...]:
    """Return the conflicts of a kind that nobody has settled, or those of them with the given numbers."""
    tables = KIND_TABLES[kind]
    rows = tables.records.c
    query = _claims(tables).where(rows.until.is_(None), rows.conflict.is_not(None))
    query = query.order_by(rows.conflict, rows.record)
    found: list[Row[Any]] = []
    for part in _parts(numbers):
        found += connection.execute(query if part is None else query.where(rows.conflict.in_(part))).all()
    groups = groupby(found, key=lambda row: int(row.conflict))
    return tuple(_conflict(tables.kind, number, list(group)) for number, group in groups)


def claims_of(connection: Connection, kind: str, records: Sequence[int]) -> tuple[Claim, ...]:
    """Return what the rows with these records say."""
    tables = KIND_TABLES[kind]
    query = _claims(tables).where(tables.records.c.record.in_(records)).order_by(tables.records.c.record)
    return tuple(_claim(tables.kind, row) for row in connection.execute(query))


def _parts(numbers: npt.NDArray[np.int64] | None) -> Iterator[list[int] | None]:
    if numbers is None:
        yield None
        return
    for start in range(0, len(numbers), _CHUNK):
        yield numbers[start : start + _CHUNK].tolist()


def _claims(tables: KindTables) -> Any:
    """Return the query for rows with where, when and by whom they were taken in."""
    columns = [tables.records.c[name] for name in (*tables.content, "record", "source_row", "conflict")]
    return (
        select(*columns, FILES.c.name.label("its_file"), SHEETS.c.name.label("its_sheet"), SHEETS.c.intake)
        .add_columns(STATES.c.by, STATES.c.at)
        .join(SHEETS, SHEETS.c.sheet == tables.records.c.sheet)
        .join(FILES, FILES.c.file == SHEETS.c.file)
        .join(INTAKES, INTAKES.c.intake == SHEETS.c.intake)
        .join(STATES, STATES.c.state == INTAKES.c.state)
    )


def _claim(kind: kinds.Kind, row: Row[Any]) -> Claim:
    told = row._mapping
    values = {column.name: _cell(column.type, told[column.name]) for column in kind.columns}
    return Claim(
        row.record,
        {**values, "extra": told["extra"]},
        row.its_file,
        row.its_sheet,
        row.source_row,
        row.intake,
        row.by,
        datetime.fromisoformat(row.at),
    )


def _conflict(kind: kinds.Kind, number: int, rows: Sequence[Row[Any]]) -> Conflict:
    claims = tuple(_claim(kind, row) for row in rows)
    about = {name: _first(claims, name) for name in (*kind.identity, *([kind.aside] if kind.aside else []))}
    differing = [
        name
        for name in (*kind.names, "extra")
        if len({claim.values[name] for claim in claims}) > 1 and (name == "extra" or is_compared(kind, name))
    ]
    return Conflict(number, kind.name, {n: v for n, v in about.items() if v is not None}, tuple(differing), claims)


def _first(claims: Sequence[Claim], name: str) -> Cell:
    """Return the first value of a column that is not blank."""
    return next((claim.values[name] for claim in claims if claim.values[name] is not None), None)


def _cell(type: str, value: Any) -> Cell:
    if value is None or type not in ("date", "moment"):
        return value  # type: ignore[no-any-return]
    moment = _EPOCH + timedelta(microseconds=value)
    return moment.date() if type == "date" else moment


def _said_of(name: str, value: Cell) -> str:
    if name == "quantity" and value:
        label = measure(str(value)).label
        return label[0].lower() + label[1:]
    return f"{name.replace('_', ' ')} {_written(value)}"


def _written(value: Cell) -> str:
    if isinstance(value, datetime):
        return f"{value:%Y-%m-%d %H:%M}"
    return f"{value:g}" if isinstance(value, float) else str(value)
