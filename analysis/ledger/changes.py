"""What is to be written, for what was decided to stand?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt
import pandas as pd
from sqlalchemy import Connection, select, update

from analysis.ledger.book import next_number
from analysis.ledger.identity import Marks
from analysis.ledger.packing import Packed
from analysis.ledger.results import Counts
from analysis.ledger.tables import KIND_TABLES, LEDGER

__all__ = ["Addition", "Changes", "Numbering", "Tally", "join_changes"]

Indices = npt.NDArray[np.int64]
_NO_NUMBERS = np.zeros(0, dtype=np.int64)
_REPEATS = ("record", "sheet", "source_row", "key")


@dataclass(frozen=True)
class Tally:
    """How many offered rows had which fate, and of how many things nothing stands any more or something stands again.

    The first four are those of ``Counts``.
    """

    added: int = 0
    updated: int = 0
    unchanged: int = 0
    conflicting: int = 0
    removed: int = 0
    restored: int = 0

    def __add__(self, other: Tally) -> Tally:
        return Tally(*(getattr(self, f.name) + getattr(other, f.name) for f in fields(Tally)))

    @property
    def counts(self) -> Counts:
        """The fates of the offered rows."""
        return Counts(self.added, self.updated, self.unchanged, self.conflicting)


@dataclass(frozen=True)
class Addition:
    """Rows to be written; ``packed.sheet`` is the sheet's number in the ledger.

    ``conflict`` holds each row's conflict, 0 for none. Rows that do not stand are written all the same: what a file
    said is on record. ``filled`` rows are made of several.
    """

    packed: Packed
    marks: Marks
    record: Indices
    conflict: Indices | None = None
    stands: bool = True
    filled: bool = False


@dataclass(frozen=True)
class Changes:
    """Everything that one transaction writes about one kind.

    ``ended`` are records that stand no more. ``standing`` (record, conflict) are records on record that come to stand
    again, or otherwise than before. ``repeats`` (record, sheet, source_row, key) are offered rows that say what a
    record says; ``promoted`` the same of pointers that become rows of their own. ``left`` has the sheet of each
    standing row about which an offered sheet of the same family said nothing. ``conflicts`` are those that an offered
    row stands in.
    """

    kind: str
    tally: Tally
    additions: tuple[Addition, ...]
    ended: Indices
    standing: pd.DataFrame
    repeats: pd.DataFrame
    promoted: pd.DataFrame
    left: Indices
    conflicts: Indices

    @classmethod
    def none(cls, kind: str, tally: Tally) -> Changes:
        """Return a change of nothing."""
        repeats = pd.DataFrame(dict.fromkeys(_REPEATS, _NO_NUMBERS))
        standing = pd.DataFrame({"record": _NO_NUMBERS, "conflict": _NO_NUMBERS})
        return cls(kind, tally, (), _NO_NUMBERS, standing, repeats, repeats, _NO_NUMBERS, _NO_NUMBERS)

    @property
    def alters(self) -> bool:
        """Whether anything stands otherwise than before, or a file says something that no file said."""
        return bool(self.additions) or len(self.ended) > 0 or len(self.standing) > 0


def join_changes(parts: Sequence[Changes]) -> Changes:
    """Return the changes of every part as one."""
    tally = Tally()
    for part in parts:
        tally += part.tally
    return Changes(
        parts[0].kind,
        tally,
        tuple(addition for part in parts for addition in part.additions),
        np.concatenate([part.ended for part in parts]),
        pd.concat([part.standing for part in parts], ignore_index=True),
        pd.concat([part.repeats for part in parts], ignore_index=True),
        pd.concat([part.promoted for part in parts], ignore_index=True),
        np.concatenate([part.left for part in parts]),
        np.unique(np.concatenate([part.conflicts for part in parts])),
    )


class Numbering:
    """Gives new records and conflicts their numbers, within one transaction."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._next: dict[str, int] = {}
        self._conflicts = int(connection.execute(select(LEDGER.c.conflicts)).scalar_one())

    def records(self, kind: str, count: int) -> Indices:
        """Return numbers for that many new records of a kind."""
        if kind not in self._next:
            self._next[kind] = next_number(self._connection, KIND_TABLES[kind].records, "record")
        first = self._next[kind]
        self._next[kind] += count
        return np.arange(first, first + count, dtype=np.int64)

    def conflicts(self, count: int) -> Indices:
        """Return numbers for that many new conflicts."""
        first = self._conflicts + 1
        self._conflicts += count
        return np.arange(first, first + count, dtype=np.int64)

    def save(self) -> None:
        """Write down the last conflict's number."""
        self._connection.execute(update(LEDGER).values(conflicts=self._conflicts))
