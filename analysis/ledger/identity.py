"""Which columns say what a row is about, and what does each row come to?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from analysis.ledger.hashing import combined
from analysis.ledger.packing import Packed
from analysis.records import kinds

__all__ = ["LOOSE", "Marks", "content_marks", "key_columns", "marks"]

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
    hashes = {column.name: column.hashes() for column in packed.columns}
    keys = key_columns(packed.kind)
    return Marks(
        combined(((name, hashes[name]) for name in keys), len(packed)),
        combined(hashes.items(), len(packed)),
    )


def content_marks(packed: Packed) -> npt.NDArray[np.int64]:
    """Return what each row says, shape (n,)."""
    return combined(((column.name, column.hashes()) for column in packed.columns), len(packed))
