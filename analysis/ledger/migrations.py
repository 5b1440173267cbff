"""How does a ledger that an older version wrote become one that this version reads?"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import uuid4

from sqlalchemy import Connection, Table, func, insert, inspect, select, text
from sqlalchemy.schema import CreateColumn

from analysis.ledger.database import Database
from analysis.ledger.errors import LedgerError
from analysis.ledger.tables import DISMISSED, LEDGER, METADATA, RESOLUTIONS, SCHEMA
from analysis.ledger.years_apart import tell_years_apart

__all__ = ["MIGRATIONS", "Migration", "migrate"]

_LOCK = 0x64726F70  # the advisory lock that PostgreSQL takes while a ledger is made or migrated


@dataclass(frozen=True)
class Migration:
    """One step from the schema before ``number`` to it; ``apply`` runs in the transaction of all steps."""

    number: int
    what: str
    apply: Callable[[Connection], None]


def _first_tables(connection: Connection) -> None:
    """Make a ledger with nothing on record."""
    METADATA.create_all(connection, tables=[t for t in METADATA.sorted_tables if t not in (RESOLUTIONS, DISMISSED)])
    connection.execute(insert(LEDGER).values(one=1, name=uuid4().hex, state=0, conflicts=0))


def _complete(connection: Connection) -> None:
    """Add the tables and columns that the code knows and the ledger lacks: what a migration is when it only adds."""
    METADATA.create_all(connection)
    known = inspect(connection)
    for table in METADATA.sorted_tables:
        present = {column["name"] for column in known.get_columns(table.name)}
        for column in table.columns:
            if column.name not in present:
                _add_column(connection, table, str(CreateColumn(column).compile(dialect=connection.dialect)))


def _years_apart(connection: Connection) -> None:
    _complete(connection)
    tell_years_apart(connection)


def _add_column(connection: Connection, table: Table, definition: str) -> None:
    name = connection.dialect.identifier_preparer.quote(table.name)
    connection.execute(text(f"ALTER TABLE {name} ADD COLUMN {definition}"))


# A change to a table, or a column that a kind of record gains, is one more line here: never an edit of an older line.
MIGRATIONS = (
    Migration(1, "the tables", _first_tables),
    Migration(2, "conflicts are settled, by whom and why", _complete),
    Migration(3, "a journal of what people decided", _complete),
    Migration(4, "run and batch numbers that begin again each year are told apart", _years_apart),
)


def migrate(database: Database, migrations: Sequence[Migration] = MIGRATIONS) -> int:
    """Bring a ledger to the newest schema, in one transaction, and return that schema's number.

    Parameters
    ----------
    database : Database
        The open database; an empty one becomes a ledger with nothing on record.
    migrations : sequence of Migration
        Every step there is, in order.

    Raises
    ------
    LedgerError
        If the database holds something else, or a ledger that a newer version wrote.
    """
    newest = migrations[-1].number
    with database.reading() as connection:
        if _number(connection, database.name, newest) == newest:
            return newest
    with database.writing() as connection:
        if not database.is_sqlite:
            connection.execute(select(func.pg_advisory_xact_lock(_LOCK)))
        number = _number(connection, database.name, newest)
        for migration in migrations:
            if migration.number > number:
                migration.apply(connection)
                now = datetime.now().isoformat(timespec="seconds")
                connection.execute(insert(SCHEMA).values(number=migration.number, what=migration.what, at=now))
    return newest


def _number(connection: Connection, name: str, newest: int) -> int:
    """Return the schema's number, 0 for an empty database."""
    tables = inspect(connection).get_table_names()
    if not tables:
        return 0
    if SCHEMA.name not in tables or LEDGER.name not in tables:
        raise LedgerError(
            f"The database {name} holds other tables and no ledger.",
            "Give the ledger a file, a database or a schema of its own.",
        )
    number = int(connection.execute(select(func.max(SCHEMA.c.number))).scalar_one())
    if number > newest:
        raise LedgerError(
            f"The ledger {name} has schema {number}, and this version of Dropbright reads up to schema {newest}.",
            "Install the newer version of Dropbright that wrote it; nothing was changed.",
        )
    return number
