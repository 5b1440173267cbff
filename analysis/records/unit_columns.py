"""Which column states the unit of another?

"DO unit" states that of "DO", "Unit of volume" that of "Volume"; a column that is headed "Unit" and no more belongs to
the measures beside it (``wide_meanings``).
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from analysis.records.headers import Header, read_header
from analysis.records.meaning import Meaning, Meanings, wide_columns
from analysis.records.measure_headers import measure_of
from analysis.records.moment_meanings import words_of

__all__ = ["take_unit_columns"]

_UNIT_HEADER = re.compile(r"(?P<before>.+?) (?:units?|uom)|(?:units?|uom) (?:of |for )?(?P<behind>.+)")
_UNIT_WORDS = ("unit", "units", "uom", "unit of measure")


def take_unit_columns(
    kind: str, headers: Sequence[Header | None], free: Sequence[tuple[int, Header]], meanings: Meanings
) -> None:
    """Find the columns that state the unit of one other column, by that column's name in their header.

    In a sheet of targets a column of units belongs to all limits.
    """
    numeric = {column.name for column in wide_columns(kind) if column.type == "number"}
    owners = [m for m in meanings.values() if m.role == "measure" or (m.role == "kept" and m.name in numeric)]
    for j, header in free:
        found = _UNIT_HEADER.fullmatch(header.words) if j not in meanings else None
        if kind == "targets" and j not in meanings and header.words in _UNIT_WORDS:
            owned = tuple(m.column for m in owners)
        elif found is not None:
            said = found["before"] or found["behind"]
            owned = tuple(m.column for m in owners if _is_named(kind, m, headers[m.column], said))
        else:
            continue
        if owned:
            meanings[j] = Meaning(j, header.text, "unit", measures=owned)


def _is_named(kind: str, owner: Meaning, header: Header | None, said: str) -> bool:
    """Tell whether words name a column: they stand in its header, or mean the same."""
    if header is not None and said in {name for name, _ in header.names}:
        return True
    if owner.role == "kept":
        return said in words_of(kind, owner.name)
    named = measure_of(read_header(said))
    return named is not None and named.measure == owner.name and named.stage in (None, owner.stage)
