"""What do the arrays of this room hold?"""

from __future__ import annotations

from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

__all__ = ["Bools", "CannotFitError", "Floats", "Ints", "Sparse"]

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int64]
Bools: TypeAlias = NDArray[np.bool_]
Sparse: TypeAlias = Any  # a scipy csr_array; its stubs do not follow sparse arithmetic yet


class CannotFitError(ValueError):
    """The data cannot answer the model; the message says in one sentence why."""
