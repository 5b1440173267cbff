"""Which tables does a ledger have?

Every kind of record has three tables. ``<kind>`` holds each row that a file stated, as it was stated, and the span of
states ``[since, until)`` in which it stands; a row that was never needed has an empty span. ``<kind>_past`` keeps the
earlier spans of a row that came to stand again. ``<kind>_repeats`` points to the row that another file stated in the
same words. No row is ever changed but for its span, so any earlier state can be read back.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from sqlalchemy import BigInteger, Boolean, Column, Double, ForeignKey, Index, Integer, MetaData, Table, Text, text
from sqlalchemy.types import TypeEngine

from analysis.records import kinds

__all__ = [
    "CHANGES",
    "COUNTS",
    "DISMISSED",
    "FILES",
    "INTAKES",
    "JOURNAL",
    "KIND_TABLES",
    "LEDGER",
    "METADATA",
    "RESOLUTIONS",
    "SCHEMA",
    "SHEETS",
    "STATES",
    "TAKEN_BACK",
    "KindTables",
]

METADATA = MetaData()

# The schema's number: a row for each migration that was run.
SCHEMA = Table(
    "schema",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("what", Text, nullable=False),
    Column("at", Text, nullable=False),
)

# One row: the ledger's own name, the number of its state, and the last number given to a conflict.
LEDGER = Table(
    "ledger",
    METADATA,
    Column("one", Integer, primary_key=True, autoincrement=False),
    Column("name", Text, nullable=False),
    Column("state", Integer, nullable=False),
    Column("conflicts", Integer, nullable=False),
)

# Every change: who made it, when, and why. ``mark`` is drawn at random, so that two copies of a ledger that went
# separate ways are told apart though both count on from the same number.
STATES = Table(
    "states",
    METADATA,
    Column("state", Integer, primary_key=True, autoincrement=False),
    Column("mark", Text, nullable=False),
    Column("action", Text, nullable=False),
    Column("intake", Integer),
    Column("at", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("because", Text),
)

# Which kinds a change touched.
CHANGES = Table(
    "changes",
    METADATA,
    Column("state", Integer, ForeignKey("states.state"), primary_key=True, autoincrement=False),
    Column("kind", Text, primary_key=True),
)

INTAKES = Table(
    "intakes",
    METADATA,
    Column("intake", Integer, primary_key=True, autoincrement=False),
    Column("state", Integer, ForeignKey("states.state"), nullable=False),
    Column("withdrawn", Integer, ForeignKey("states.state")),
)

COUNTS = Table(
    "counts",
    METADATA,
    Column("intake", Integer, ForeignKey("intakes.intake"), primary_key=True, autoincrement=False),
    Column("kind", Text, primary_key=True),
    Column("added", Integer, nullable=False),
    Column("updated", Integer, nullable=False),
    Column("unchanged", Integer, nullable=False),
    Column("conflicting", Integer, nullable=False),
)

FILES = Table(
    "files",
    METADATA,
    Column("file", Integer, primary_key=True, autoincrement=False),
    Column("intake", Integer, ForeignKey("intakes.intake"), nullable=False),
    Column("name", Text, nullable=False),
    Column("sha256", Text, nullable=False, index=True),
)

# ``family`` names a file and sheet across its corrected versions; ``answers`` is what a person said, as JSON.
SHEETS = Table(
    "sheets",
    METADATA,
    Column("sheet", Integer, primary_key=True, autoincrement=False),
    Column("file", Integer, ForeignKey("files.file"), nullable=False),
    Column("intake", Integer, ForeignKey("intakes.intake"), nullable=False),
    Column("place", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("family", Text, nullable=False, index=True),
    Column("kind", Text),
    Column("header_row", Integer),
    Column("rows", Integer, nullable=False),
    Column("accepted", Integer, nullable=False),
    Column("rejected", Integer, nullable=False),
    Column("ignored", Integer, nullable=False),
    Column("columns", Text, nullable=False),
    Column("kept_as_extra", Text, nullable=False),
    Column("layout", Text),
    Column("answers", Text),
)

# A person's decision between rows that contradict each other: for the thing that ``key`` stands for, the row whose
# content is ``kept`` is right, and those in ``dismissed`` are not.
RESOLUTIONS = Table(
    "resolutions",
    METADATA,
    Column("resolution", Integer, primary_key=True, autoincrement=False),
    Column("state", Integer, ForeignKey("states.state"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("conflict", Integer, nullable=False),
    Column("record", BigInteger, nullable=False),
    Column("key", BigInteger, nullable=False, index=True),
    Column("kept", BigInteger, nullable=False),
)

DISMISSED = Table(
    "dismissed",
    METADATA,
    Column("resolution", Integer, ForeignKey("resolutions.resolution"), primary_key=True, autoincrement=False),
    Column("content", BigInteger, primary_key=True, autoincrement=False),
)

# A person's decision: ``content`` is a JSON object, whose meaning ``subject`` names. Who, when and why: ``states``.
JOURNAL = Table(
    "journal",
    METADATA,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("state", Integer, ForeignKey("states.state"), nullable=False, unique=True),
    Column("subject", Text, nullable=False, index=True),
    Column("content", Text, nullable=False),
)

# A decision that was taken back: a row beside it, so that neither is ever edited.
TAKEN_BACK = Table(
    "taken_back",
    METADATA,
    Column("number", Integer, ForeignKey("journal.number"), primary_key=True, autoincrement=False),
    Column("state", Integer, ForeignKey("states.state"), nullable=False, unique=True),
)

_TYPES: Mapping[str, type[TypeEngine[Any]]] = {
    "id": Text,
    "text": Text,
    "choice": Text,
    "number": Double,
    "count": Double,
    "date": BigInteger,
    "moment": BigInteger,
}

_IN_CONFLICT = text("conflict IS NOT NULL")


@dataclass(frozen=True)
class KindTables:
    """The tables of one kind of record."""

    kind: kinds.Kind
    records: Table
    past: Table
    repeats: Table

    @property
    def content(self) -> tuple[str, ...]:
        """The columns that a file states: the kind's own, and ``extra``."""
        return (*self.kind.names, "extra")


def _records_table(kind: kinds.Kind) -> Table:
    """Return the table of a kind; dates and moments are kept as microseconds since 1970."""
    table = Table(
        kind.name,
        METADATA,
        Column("record", BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=False),
        *(Column(column.name, _TYPES[column.type]) for column in kind.columns),
        Column("extra", Text),
        Column("sheet", Integer, ForeignKey("sheets.sheet"), nullable=False),
        Column("source_row", Integer, nullable=False),
        Column("key", BigInteger, nullable=False),
        Column("content", BigInteger, nullable=False),
        Column("since", Integer, nullable=False),
        Column("until", Integer),
        Column("conflict", Integer),
        Column("filled", Boolean, nullable=False),
    )
    Index(f"{kind.name}_in_conflict", table.c.conflict, sqlite_where=_IN_CONFLICT, postgresql_where=_IN_CONFLICT)
    return table


def _past_table(kind: kinds.Kind) -> Table:
    return Table(
        f"{kind.name}_past",
        METADATA,
        Column("record", BigInteger, ForeignKey(f"{kind.name}.record"), nullable=False, index=True),
        Column("since", Integer, nullable=False),
        Column("until", Integer, nullable=False),
        Column("conflict", Integer),
    )


def _repeats_table(kind: kinds.Kind) -> Table:
    return Table(
        f"{kind.name}_repeats",
        METADATA,
        Column("record", BigInteger, ForeignKey(f"{kind.name}.record"), nullable=False),
        Column("sheet", Integer, ForeignKey("sheets.sheet"), nullable=False),
        Column("source_row", Integer, nullable=False),
        Column("key", BigInteger, nullable=False),
    )


KIND_TABLES: Mapping[str, KindTables] = MappingProxyType(
    {
        kind.name: KindTables(kind, _records_table(kind), _past_table(kind), _repeats_table(kind))
        for kind in kinds.KINDS.values()
    }
)
