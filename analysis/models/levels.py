"""Which level of a factor has each row?

A row's code is the place of its level among the factor's labels, which stand in the order in which rows bring them.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from typing import TypeAlias

import numpy as np

from analysis.models.arrays import Ints

__all__ = ["Labels", "check_known", "crossed", "in_order_of_rows", "places_among"]

Labels: TypeAlias = tuple[Hashable, ...]


def in_order_of_rows(codes: Ints, labels: Labels) -> tuple[Ints, Labels]:
    """Codes (n,) and labels without those that no row has, numbered as the rows bring them."""
    first = np.full(len(labels), len(codes), dtype=np.int64)
    first[codes[::-1]] = np.arange(len(codes) - 1, -1, -1)
    order = np.argsort(first, kind="stable")[: int((first < len(codes)).sum())]
    number = np.empty(len(labels), dtype=np.int64)
    number[order] = np.arange(len(order))
    return number[codes], tuple(labels[place] for place in order.tolist())


def crossed(each: Sequence[tuple[Ints, Labels]]) -> tuple[Ints, Labels]:
    """The levels of several factors' crossing: a tuple for every combination that a row has."""
    if len(each) == 1:
        return each[0]
    key = np.zeros(len(each[0][0]), dtype=np.int64)
    for codes, labels in each:
        key = key * len(labels) + codes
    _, first, together = np.unique(key, return_index=True, return_inverse=True)
    columns = [[labels[code] for code in codes[first].tolist()] for codes, labels in each]
    return np.asarray(together, dtype=np.int64), tuple(zip(*columns, strict=True))


def places_among(labels: Labels, known: Labels) -> Ints:
    """Where each label stands among those known, −1 where it does not."""
    if labels is known or labels == known:
        return np.arange(len(labels), dtype=np.int64)
    place = {label: at for at, label in enumerate(known)}
    return np.array([place.get(label, -1) for label in labels], dtype=np.int64)


def check_known(name: str, strange: Iterable[object]) -> None:
    """Refuse levels that a column was not known to have.

    Raises
    ------
    ValueError
        If there is one; the message names the column and them.
    """
    if words := sorted(str(value) for value in strange):
        raise ValueError(f"levels of {name} must be known before rows are added up, got also {', '.join(words)}")
