"""In which patterns of digits and letters are a column's words written?

A million moments are written in a handful of patterns ("99/99/9999 99:99"). A pattern is understood once; the digits of
all its words are then read together. Letters stand in the pattern as they are, in lower case, one character a byte.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

__all__ = ["Pattern", "patterns_of"]

_NINE, _ZERO = ord("9"), ord("0")
_LONGEST = 60


@dataclass(frozen=True, eq=False)
class Pattern:
    """One pattern: its text, with 9 for every digit; the places of its words; and the words' bytes, a row a word."""

    text: str
    places: npt.NDArray[np.intp]
    letters: npt.NDArray[np.uint8]

    def number(self, start: int, end: int) -> npt.NDArray[np.int64]:
        """Return the digits from ``start`` up to ``end`` as a number for each word, shape (words,)."""
        digits = self.letters[:, start:end].astype(np.int64) - _ZERO
        powers = 10 ** np.arange(end - start - 1, -1, -1, dtype=np.int64)
        return np.asarray(digits @ powers, dtype=np.int64)


def patterns_of(words: Any) -> Iterator[Pattern]:
    """Yield the patterns of an Arrow string array; words of over 60 bytes are left out, being no date."""
    lengths = pc.binary_length(words).to_numpy(zero_copy_only=False)
    for length in np.unique(lengths):
        if 0 < length <= _LONGEST:
            places = np.flatnonzero(lengths == length)
            yield from _of_one_length(words.take(pa.array(places)), places, int(length))


def _of_one_length(words: Any, places: npt.NDArray[np.intp], length: int) -> Iterator[Pattern]:
    start = np.frombuffer(words.buffers()[1], dtype=np.int32, count=words.offset + 1)[words.offset]
    letters = np.frombuffer(words.buffers()[2], dtype=np.uint8, count=len(words) * length, offset=int(start))
    letters = letters.reshape(len(words), length)
    shape = np.where((letters >= _ZERO) & (letters <= _NINE), np.uint8(_NINE), letters)
    shape = np.where((shape >= ord("A")) & (shape <= ord("Z")), shape + np.uint8(32), shape)
    if bool((shape == shape[0]).all()):
        yield Pattern(shape[0].tobytes().decode("latin-1"), places, letters)
        return
    _, first, which = np.unique(shape.view(f"S{length}"), return_index=True, return_inverse=True)
    order = np.argsort(which.ravel(), kind="stable")
    ends = np.cumsum(np.bincount(which.ravel()))
    for one, rows in zip(first, np.split(order, ends[:-1]), strict=True):
        yield Pattern(shape[one].tobytes().decode("latin-1"), places[rows], letters[rows])
