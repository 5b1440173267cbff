"""Is the effect surely smaller than the margin?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import stats

__all__ = ["Equivalence", "two_one_sided_tests"]


@dataclass(frozen=True)
class Equivalence:
    """Two one-sided tests against a margin.

    ``p`` is the larger of the two one-sided p-values; ``low`` and ``high`` bound the interval at ``level``, which lies
    inside the margin exactly where ``p`` is below (1 − level) / 2.
    """

    p: float
    low: float
    high: float
    level: float


def two_one_sided_tests(
    estimate: float, standard_error: float, df: float, below: float, above: float, *, level: float = 0.90
) -> Equivalence:
    """Test that an effect lies between two bounds.

    Parameters
    ----------
    estimate, standard_error : float
        The effect and its standard error, on the scale of the bounds.
    df : float
        Degrees of freedom of the t distribution; infinity gives the normal.
    below, above : float
        The margin's ends, ``below < 0 < above``; minus infinity leaves that side open.
    level : float
        Of the interval: 0.90 goes with two one-sided tests at 5 %.

    Raises
    ------
    ValueError
        If the bounds do not straddle zero, or the standard error or the degrees of freedom are not positive.

    Source: Schuirmann, D. J. (1987), J. Pharmacokin. Biopharm. 15, 657 to 680.
    """
    if not below < 0 < above:
        raise ValueError(f"two_one_sided_tests: below and above must straddle 0, got {below} and {above}")
    if not (standard_error > 0 and df > 0):
        raise ValueError(f"two_one_sided_tests: standard_error and df must be positive, got {standard_error} and {df}")
    over_low = stats.t.sf((estimate - below) / standard_error, df) if np.isfinite(below) else 0.0
    under_high = stats.t.cdf((estimate - above) / standard_error, df) if np.isfinite(above) else 0.0
    reach = stats.t.ppf((1 + level) / 2, df) * standard_error
    return Equivalence(float(max(over_low, under_high)), estimate - reach, estimate + reach, level)
