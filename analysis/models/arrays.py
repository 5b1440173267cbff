"""What do the arrays of this room hold?"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_DENSE", "Bools", "CannotFitError", "Floats", "Ints", "Sparse", "check_dense"]

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
Sparse: TypeAlias = Any  # a scipy csr_array; its stubs do not follow sparse arithmetic yet


# Columns of a dense factor: 800 MB a matrix, of which a search holds two or three, and some minutes a step.
MOST_DENSE = 10_000


class CannotFitError(ValueError):
    """The data cannot answer the model; the message says in one sentence why."""


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
