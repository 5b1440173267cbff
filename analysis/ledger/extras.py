"""Do the further columns of rows about the same thing contradict each other, and what do they say together?"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.ledger.packing import PackedColumn

__all__ = ["Extras", "weigh_extras"]

Bools = npt.NDArray[np.bool_]
Indices = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Extras:
    """What groups of rows say in their further columns.

    ``contradict``, shape (groups,): two rows of the group differ in a column. ``complete``, shape (n,): the row says
    all that its group says. ``merged`` holds what a group says together, where no row of it says all.
    """

    contradict: Bools
    complete: Bools
    merged: Mapping[int, str]

    def merged_into(self, column: PackedColumn, groups: Indices) -> PackedColumn:
        """Return the groups' column with what they say together in place of what their first row says."""
        words = list(column.words[:-1]) if column.words is not None else []
        codes = column.values.astype(np.int64).copy()
        for place, group in enumerate(groups.tolist()):
            if group in self.merged:
                codes[place] = len(words)
                words.append(self.merged[group])
        return PackedColumn(column.name, codes, np.array([*words, None], dtype=object))


def weigh_extras(column: PackedColumn, group: Indices) -> Extras:
    """Compare the ``extra`` texts of rows that stand in the order of their groups."""
    groups = int(group.max(initial=-1)) + 1
    contradict = np.zeros(groups, dtype=bool)
    some = ~column.blank
    says = np.bincount(group[some], minlength=groups) > 0
    complete = some | ~says[group]
    merged: dict[int, str] = {}
    for number in _with_different_texts(column, group, groups):
        rows = np.arange(*np.searchsorted(group, [number, number + 1]))
        said = [_parsed(column, row) for row in rows.tolist()]
        together = {header: cell for extras in said for header, cell in extras.items()}
        contradict[number] = any(together[header] != cell for extras in said for header, cell in extras.items())
        complete[rows] = [extras == together for extras in said]
        if not complete[rows].any():
            merged[number] = json.dumps(together, ensure_ascii=False)
    return Extras(contradict, complete, merged)


def _with_different_texts(column: PackedColumn, group: Indices, groups: int) -> list[int]:
    """Return the groups that have more than one text."""
    some = ~column.blank
    least, greatest = np.full(groups, np.iinfo(np.int64).max), np.full(groups, -1)
    np.minimum.at(least, group[some], column.values[some].astype(np.int64))
    np.maximum.at(greatest, group[some], column.values[some].astype(np.int64))
    return np.flatnonzero(least < greatest).tolist()


def _parsed(column: PackedColumn, row: int) -> dict[str, object]:
    word = column.words[int(column.values[row])] if column.words is not None else None
    return dict(json.loads(word)) if word else {}
