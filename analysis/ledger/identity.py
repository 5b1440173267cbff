"""Which columns say what a row is about, and what does each row come to?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from analysis.ledger.hashing import combined
from analysis.ledger.packing import Packed, PackedColumn
from analysis.records import kinds
from analysis.records.occasions import are_apart

__all__ = ["LOOSE", "Marks", "content_marks", "is_compared", "key_columns", "marks", "moments_of", "span_years"]

# A column of the identity that a row may leave blank and still be about the same thing: a batch written without its
# brewing day is the one batch of that number on record, and a batch of its own where there is none or more than one.
LOOSE: Mapping[str, str] = MappingProxyType({"batches": "brewed_on"})


@dataclass(frozen=True)
class Marks:
    """The two numbers of each row, shape (n,): what it is about, and what it says."""

    key: npt.NDArray[np.int64]
    content: npt.NDArray[np.int64]


def key_columns(kind: kinds.Kind) -> tuple[str, ...]:
    """Return the columns that rows about the same thing are sure to agree on."""
    return tuple(name for name in kind.identity if name != LOOSE.get(kind.name))


def marks(packed: Packed) -> Marks:
    """Return what each row is about and what it says."""
    hashes = {column.name: column.hashes() for column in packed.columns if column.name != packed.kind.aside}
    keys = key_columns(packed.kind)
    return Marks(
        combined(((name, hashes[name]) for name in keys), len(packed)),
        combined(hashes.items(), len(packed)),
    )


def content_marks(packed: Packed) -> npt.NDArray[np.int64]:
    """Return what each row says, shape (n,); a column that only tells rows apart is no part of it."""
    columns = (column for column in packed.columns if column.name != packed.kind.aside)
    return combined(((column.name, column.hashes()) for column in columns), len(packed))


def is_compared(kind: kinds.Kind, name: str) -> bool:
    """Return whether two rows about the same thing may contradict each other in a column."""
    return name not in (kind.aside, "extra") and (name not in kind.identity or name == LOOSE.get(kind.name))


def moments_of(packed: Packed) -> npt.NDArray[np.datetime64]:
    """Return when each row says that its thing was, NaT where it does not or its kind has no such column, shape (n,).

    Rows with one key are about two things where these moments lie in two years (``records.occasions``).
    """
    column: PackedColumn | None = packed.column(packed.kind.occasion) if packed.kind.occasion else None
    if column is None:
        return np.full(len(packed), np.datetime64("NaT", "us"))
    return column.values.astype(np.int64, copy=False).view("datetime64[us]")


def span_years(first: npt.NDArray[np.int64], last: npt.NDArray[np.int64]) -> npt.NDArray[np.bool_]:
    """Return whether two moments [µs since 1970, 0 for none] may be those of two uses of a number, shape (n,)."""
    told = (first != 0) & (last != 0)
    return np.asarray(told & are_apart(first.view("datetime64[us]"), last.view("datetime64[us]")))
