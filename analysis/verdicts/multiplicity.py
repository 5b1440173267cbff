"""How sure is one answer when many questions were asked at once?"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import stats

__all__ = ["adjusted_p_values", "false_coverage_level"]

Floats = npt.NDArray[np.float64]


def adjusted_p_values(p: npt.ArrayLike) -> Floats:
    """Return the false-discovery-rate adjusted p-values of one family of questions.

    Parameters
    ----------
    p : array_like of float, shape (m,)
        One p-value a question; NaN marks a question that was not tested and does not count.

    Returns
    -------
    ndarray of float, shape (m,)
        NaN where ``p`` is.

    Raises
    ------
    ValueError
        If a value lies outside 0 to 1.

    Source: Benjamini, Y. and Hochberg, Y. (1995), J. R. Statist. Soc. B 57, 289 to 300.
    """
    values = np.asarray(p, dtype=np.float64)
    tested = ~np.isnan(values)
    if np.any((values[tested] < 0) | (values[tested] > 1)):
        raise ValueError("adjusted_p_values: p must lie between 0 and 1")
    adjusted = np.full(values.shape, np.nan)
    if tested.any():
        adjusted[tested] = stats.false_discovery_control(values[tested], method="bh")
    return adjusted


def false_coverage_level(selected: int, asked: int, level: float = 0.95) -> float:
    """Return the level at which to draw the intervals of the selected effects.

    Of ``asked`` questions ``selected`` were picked out because they stood out; intervals at the returned level leave
    their truths outside no more often than ``1 − level`` on average among the selected.

    Raises
    ------
    ValueError
        If ``selected`` is not between 0 and ``asked``, or ``asked`` is 0.

    Source: Benjamini, Y. and Yekutieli, D. (2005), J. Am. Statist. Assoc. 100, 71 to 81.
    """
    if not 0 <= selected <= asked or asked == 0:
        raise ValueError(f"false_coverage_level: selected must be 0 to asked > 0, got {selected} of {asked}")
    return 1 - (1 - level) * max(selected, 1) / asked
