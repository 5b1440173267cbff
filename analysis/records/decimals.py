"""Is the decimal sign of these cells a point or a comma?"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pyarrow.compute as pc

__all__ = ["decimal_of", "decimal_of_columns"]

# A number that only one decimal sign explains. Three digits after the sign could as well be thousands, unless a 0 leads
# or the other sign has already parted thousands.
_LEAD = r"^[<>≤≥~\s+−-]*"
_SHOWS = {
    sign: _LEAD
    + rf"([1-9]?[0-9]*{one}([0-9]{{1,2}}|[0-9]{{4,}})|0{one}[0-9]+|[0-9]{{1,3}}([{other}' ][0-9]{{3}})+{one}[0-9]+)"
    + r"([^0-9,.]|$)"
    for sign, one, other in ((",", ",", "."), (".", r"\.", ","))
}
_ENOUGH = 5_000


def decimal_of(words: Any) -> str | None:
    """Return the decimal sign that a column's words show, None where they show none or both.

    Parameters
    ----------
    words : Arrow string array
        The column's texts, once each.
    """
    shown = [sign for sign, pattern in _SHOWS.items() if pc.any(pc.match_substring_regex(words, pattern)).as_py()]
    return shown[0] if len(shown) == 1 else None


def decimal_of_columns(columns: Iterable[Any]) -> str | None:
    """Return the decimal sign that the columns of a sheet agree on, None where none shows one or they differ."""
    shown = {decimal_of(words.slice(0, _ENOUGH)) for words in columns if len(words)} - {None}
    return shown.pop() if len(shown) == 1 else None
