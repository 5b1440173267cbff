"""Which sheets are on record, and which number comes next?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from uuid import uuid4

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Column, Connection, Table, func, insert, select, update

from analysis.ledger.tables import CHANGES, INTAKES, LEDGER, SHEETS, STATES

__all__ = ["Book", "next_number", "open_book", "turn_state"]


@dataclass(frozen=True)
class Book:
    """The ledger as a writer finds it, whose lock keeps every other writer out until the transaction ends.

    ``sheets`` has a row for each sheet ever taken in: sheet (the index), intake, family (a number, whose name is in
    ``family_names``), active.
    """

    connection: Connection
    state: int
    sheets: pd.DataFrame
    family_names: tuple[str, ...]

    @property
    def next_state(self) -> int:
        """The number of the state that this transaction makes."""
        return self.state + 1

    def intake_of(self, sheets: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Return the intake of each sheet, shape (n,)."""
        return self.sheets["intake"].reindex(sheets).to_numpy(dtype=np.int64)

    def family_of(self, sheets: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Return a number that a sheet shares with the same sheet of the file's other versions, shape (n,)."""
        return self.sheets["family"].reindex(sheets).to_numpy(dtype=np.int64)

    def is_active(self, sheets: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
        """Return whether the intake of each sheet was not withdrawn, shape (n,)."""
        return self.sheets["active"].reindex(sheets).to_numpy(dtype=bool)

    def active_sheets_of(self, families: Sequence[str]) -> npt.NDArray[np.int64]:
        """Return the sheets of these families that were taken in and not withdrawn."""
        wanted = self.sheets["family"].isin([n for n, name in enumerate(self.family_names) if name in set(families)])
        return self.sheets.index[wanted & self.sheets["active"]].to_numpy(dtype=np.int64)

    def without(self, intake: int) -> Book:
        """Return the ledger as it is with an intake withdrawn."""
        active = self.sheets["active"] & self.sheets["intake"].ne(intake)
        return replace(self, sheets=self.sheets.assign(active=active))

    def families(self, names: Sequence[str]) -> npt.NDArray[np.int64]:
        """Return the numbers of families by their names, new numbers for new names."""
        known = {name: number for number, name in enumerate(self.family_names)}
        for name in names:
            known.setdefault(name, len(known))
        return np.array([known[name] for name in names], dtype=np.int64)


def open_book(connection: Connection) -> Book:
    """Take the writer's lock and read where the ledger stands."""
    state = int(connection.execute(select(LEDGER.c.state).with_for_update()).scalar_one())
    query = select(SHEETS.c.sheet, SHEETS.c.intake, SHEETS.c.family, INTAKES.c.withdrawn).join(INTAKES)
    rows = connection.execute(query).all()
    sheets = pd.DataFrame(rows, columns=["sheet", "intake", "family", "withdrawn"]).set_index("sheet")
    numbers, names = pd.factorize(np.array(sheets["family"], dtype=object))
    sheets = sheets.assign(family=numbers, active=sheets["withdrawn"].isna()).drop(columns="withdrawn")
    return Book(connection, state, sheets, tuple(names.tolist()))


def next_number(connection: Connection, table: Table, column: str) -> int:
    """Return one more than the greatest number in a column."""
    counted: Column[int] = table.c[column]
    return int(connection.execute(select(func.coalesce(func.max(counted), 0))).scalar_one()) + 1


def turn_state(
    book: Book,
    action: str,
    by: str,
    at: datetime,
    kinds: Sequence[str],
    *,
    intake: int | None = None,
    because: str | None = None,
) -> int:
    """Move the ledger to its next state, whose number is returned, and write down who made it, when, why and where."""
    state = book.next_state
    values = {"state": state, "mark": uuid4().hex, "action": action, "intake": intake, "by": by, "because": because}
    book.connection.execute(insert(STATES).values(**values, at=at.isoformat()))
    for kind in kinds:
        book.connection.execute(insert(CHANGES).values(state=state, kind=kind))
    book.connection.execute(update(LEDGER).values(state=state))
    return state
