"""What do the arrays of this room hold?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

__all__ = ["MOST_DENSE", "Bools", "CannotFitError", "Floats", "Ints", "Sparse", "added_entries", "check_dense"]

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
Sparse: TypeAlias = Any  # a scipy csr_array; its stubs do not follow sparse arithmetic yet


# Columns of a dense factor: 800 MB a matrix, of which a search holds two or three, and some minutes a step.
MOST_DENSE = 10_000


class CannotFitError(ValueError):
    """The data cannot answer the model; the message says in one sentence why."""


def added_entries(
    values: Sequence[Floats], rows: Sequence[Ints], columns: Sequence[Ints], shape: tuple[int, int]
) -> Sparse:
    """The sparse matrix, row by row, of entries that come in several parts; those of one place are added.

    Its places are kept in 32 bits where they suffice, which scipy by itself does not do.
    """
    width = sparse.get_index_dtype(maxval=max(*shape, sum(len(each) for each in values)))
    places = [np.concatenate([np.zeros(0, width), *(each.astype(width) for each in part)]) for part in (rows, columns)]
    entries = (np.concatenate([np.zeros(0), *values]), (places[0], places[1]))
    return sparse.csr_array(sparse.coo_array(entries, shape=shape))


def check_dense(columns: int, beside: str) -> None:
    """Refuse what would fill the memory.

    Parameters
    ----------
    columns : int
        How many random columns there are besides those of the largest factor.
    beside : str
        The factors that they belong to.

    Raises
    ------
    CannotFitError
        If they are more than a dense factor should have.
    """
    if columns > MOST_DENSE:
        raise CannotFitError(
            f"besides the largest factor there are {columns:,} levels of {beside}, and more than {MOST_DENSE:,} would "
            "need gigabytes and hours: leave a factor out, join its rare levels, or fit fewer rows"
        )
