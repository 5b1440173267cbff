"""Does an effect bend? A smooth curve with straight ends.

Source: Harrell, F. E. (2015), Regression Modeling Strategies, 2nd ed., section 2.4.5.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analysis.models.arrays import Floats

__all__ = ["restricted_cubic_basis"]


def restricted_cubic_basis(x: ArrayLike, knots: ArrayLike) -> Floats:
    """Return the columns of a restricted cubic spline: x itself and its bends, straight beyond the outer knots.

    Parameters
    ----------
    x : array, shape (n,)
    knots : array, shape (k,)
        At least three, rising.

    Returns
    -------
    array, shape (n, k − 1)
        ``x``, then k − 2 bends in units of the first, divided by the squared distance of the outer knots.

    Raises
    ------
    ValueError
        If there are fewer than three knots or they do not rise.
    """
    at, places = np.asarray(knots, dtype=np.float64), np.asarray(x, dtype=np.float64)
    if at.size < 3 or np.any(np.diff(at) <= 0):
        raise ValueError(f"restricted_cubic_basis: knots must be at least three and rise, got {at.tolist()}")
    last, before = at[-1], at[-2]
    beyond = np.maximum(places[:, None] - at, 0.0) ** 3
    pull = (last - at[:-2]) / (last - before)
    bends = beyond[:, :-2] - beyond[:, [-2]] * pull + beyond[:, [-1]] * (pull - 1.0)
    return np.column_stack([places, bends / (last - at[0]) ** 2])
