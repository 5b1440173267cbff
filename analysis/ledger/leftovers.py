"""Which rows of a file's earlier versions does its corrected version no longer have?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from analysis.ledger.book import Book
from analysis.ledger.reading import read_numbers
from analysis.ledger.settling import Incoming

__all__ = ["left_behind"]

Indices = npt.NDArray[np.int64]


def left_behind(book: Book, offered: Incoming, met: Indices, families: Sequence[str]) -> Indices:
    """Return the sheet of each standing row of an earlier version about which the new one says nothing.

    Parameters
    ----------
    book : Book
        The open ledger, before the new version is written.
    offered : Incoming
        The rows of one kind of the new version.
    met : array
        The sheets of rows found while settling: they share their key with an offered row, and not what they are about.
    families : sequence of str
        The families of the new version's sheets.
    """
    earlier = book.active_sheets_of(families)
    if not len(earlier):
        return np.zeros(0, dtype=np.int64)
    on = ", ".join(map(str, earlier.tolist()))
    rows = read_numbers(book.connection, offered.tables.records, ("key", "sheet"), f"until IS NULL AND sheet IN ({on})")
    unsaid = rows["sheet"].to_numpy()[~np.isin(rows["key"], offered.marks.key)]
    return np.concatenate([unsaid, met[np.isin(met, earlier)]])
