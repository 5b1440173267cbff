"""Which rows are about the same thing, and which say the same of it?

Two 64-bit numbers are kept with every row: ``key`` of the columns that say what the row is about, ``content`` of all
that it states. A blank adds nothing to either, so a column that a kind gains later leaves the numbers of older rows as
they are. Numbers are compared to twelve significant binary-rounded digits: 0.035 mg/L read as 35.000000000000004 µg/L
is the same reading.
"""

from __future__ import annotations

from collections.abc import Iterable
from hashlib import blake2b

import numpy as np
import numpy.typing as npt
import pyarrow as pa

__all__ = ["combined", "number_hashes", "text_hashes"]

_BITS = 40  # of a number's mantissa that count: twelve decimal digits
_WORD = 8  # bytes
_WORDS = 50_000  # texts that are hashed at one time
_BASE = np.uint64(0x9E3779B97F4A7C15)

Hashes = npt.NDArray[np.uint64]


def _mixed(words: Hashes) -> Hashes:
    """Spread each word's bits over the whole word.

    Source: G. L. Steele, D. Lea and C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014,
    the 64-bit finaliser with the constants of D. Stafford's variant 13 (from memory).
    """
    mixed = words ^ (words >> np.uint64(30))
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(27)
    mixed *= np.uint64(0x94D049BB133111EB)
    mixed ^= mixed >> np.uint64(31)
    return mixed


def number_hashes(values: npt.NDArray[np.float64] | npt.NDArray[np.int64]) -> Hashes:
    """Return a hash of each number, the same for two floats that differ by rounding noise alone, shape (n,)."""
    if values.dtype.kind != "f":
        return _mixed(values.astype(np.int64).view(np.uint64) + np.uint64(1))
    mantissa, exponent = np.frexp(values)
    rounded = np.ldexp(np.rint(mantissa * 2.0**_BITS), exponent - _BITS) + 0.0  # adding 0 makes -0.0 the same as 0.0
    return _mixed(rounded.view(np.uint64) + np.uint64(1))


def text_hashes(words: npt.NDArray[np.object_]) -> Hashes:
    """Return a hash of each text, 0 for an empty one, shape (n,).

    Notes
    -----
    A polynomial of the text's bytes modulo 2**64, mixed. It is the ledger's own, for the numbers are kept: those of a
    library might change with its version, and every row would then look new.
    """
    parts = [_polynomials(words[start : start + _WORDS]) for start in range(0, len(words), _WORDS)]
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.uint64)


def _polynomials(words: npt.NDArray[np.object_]) -> Hashes:
    _, offsets, data = pa.array(words, type=pa.large_string()).buffers()
    starts = np.frombuffer(offsets, dtype=np.int64)[: len(words) + 1]
    lengths = np.diff(starts)
    letters = np.zeros(starts[-1] + 1, dtype=np.uint64)  # the last one stands in for an empty text at the end
    letters[:-1] = np.frombuffer(data, dtype=np.uint8)[: starts[-1]]
    letters[:-1] += np.uint64(1)
    powers = np.cumprod(np.full(lengths.max() + 1, _BASE, dtype=np.uint64))
    letters[:-1] *= powers[np.arange(starts[-1]) - np.repeat(starts[:-1], lengths)]
    return np.where(lengths == 0, np.uint64(0), _mixed(np.add.reduceat(letters, starts[:-1])))


def combined(columns: Iterable[tuple[str, Hashes]], rows: int) -> npt.NDArray[np.int64]:
    """Return one hash for each row.

    Parameters
    ----------
    columns : iterable of (str, array of shape (rows,))
        Each column's name and the hashes of its values, 0 for a blank.
    rows : int
        How many rows.

    Returns
    -------
    array of int64, shape (rows,)
    """
    total = np.zeros(rows, dtype=np.uint64)
    for name, hashes in columns:
        if not hashes.any():
            continue
        salt = np.uint64(int.from_bytes(blake2b(name.encode(), digest_size=_WORD).digest(), "little"))
        total += np.where(hashes == 0, np.uint64(0), _mixed(hashes ^ salt))
    return total.view(np.int64)
