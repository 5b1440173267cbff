"""What becomes of the rows that an intake brings, and of those they meet?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.ledger.book import Book, next_number
from analysis.ledger.identity import Marks, marks
from analysis.ledger.packing import Packed
from analysis.ledger.results import Counts
from analysis.ledger.tables import KIND_TABLES, KindTables
from analysis.ledger.writing import Cells, append_rows

__all__ = ["Incoming", "Plan", "apply_plan", "incoming", "plan_intake"]

Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Incoming:
    """The rows of one kind that an intake offers, each said only once."""

    tables: KindTables
    packed: Packed
    marks: Marks
    said_again: int

    def __len__(self) -> int:
        return len(self.packed)


@dataclass(frozen=True)
class Plan:
    """What is to be written for one kind, and how the offered rows count."""

    new: Indices
    counts: Counts


def incoming(packed: Packed) -> Incoming:
    """Mark the offered rows, and leave out those that say what another row of theirs says already."""
    marked = marks(packed)
    said = pd.DataFrame({"key": marked.key, "content": marked.content}).duplicated().to_numpy()
    tables = KIND_TABLES[packed.kind.name]
    if not said.any():
        return Incoming(tables, packed, marked, 0)
    rows = np.flatnonzero(~said)
    return Incoming(tables, packed.take(rows), Marks(marked.key[rows], marked.content[rows]), int(said.sum()))


def plan_intake(offered: Incoming) -> Plan:
    """Decide what becomes of the offered rows."""
    return Plan(np.arange(len(offered)), Counts(added=len(offered), unchanged=offered.said_again))


def apply_plan(book: Book, offered: Incoming, plan: Plan, sheets: Indices) -> None:
    """Write what was planned."""
    rows = offered.packed if len(plan.new) == len(offered) else offered.packed.take(plan.new)
    table = offered.tables.records
    first = next_number(book.connection, table, "record")
    columns: list[tuple[str, Cells]] = [
        ("record", np.arange(first, first + len(rows))),
        *((column.name, column) for column in rows.columns),
        ("sheet", sheets[rows.sheet]),
        ("source_row", rows.source_row),
        ("key", offered.marks.key[plan.new]),
        ("content", offered.marks.content[plan.new]),
        ("since", book.next_state),
        ("until", None),
        ("conflict", None),
        ("filled", False),
    ]
    append_rows(book.connection, table, columns, len(rows))
