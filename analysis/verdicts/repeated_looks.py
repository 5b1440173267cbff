"""Does the interval still hold when the team looks every week?"""

from __future__ import annotations

import math

from scipy import stats

__all__ = ["sequence_reach"]


def sequence_reach(
    standard_error: float, df: float, batches: int, *, tightest_at: int = 50, level: float = 0.95
) -> float:
    """Return the half-width of an interval that stays valid however often it is looked at.

    A fixed 95 % interval looked at after every batch leaves the truth out far more often than once in 20. A confidence
    sequence holds at all looks at once; the price is width. This one is the normal-mixture sequence, with its mixing
    variance set so that it is tightest after ``tightest_at`` batches, and with the t distribution's heavier tail for
    few degrees of freedom. It is asymptotic: with fewer than ten batches it is not relied upon.

    Parameters
    ----------
    standard_error : float
        Of the effect at this look.
    df : float
        Its degrees of freedom.
    batches : int
        How many batches have come in so far.
    tightest_at : int
        The number of batches for which the width is optimised. It must be fixed before looking.
    level : float
        Simultaneous coverage over all looks.

    Returns
    -------
    float
        In the unit of ``standard_error``.

    Raises
    ------
    ValueError
        If a count or the standard error is not positive.

    Source: Robbins, H. (1970), Ann. Math. Statist. 41, 1397 to 1409; in this form Waudby-Smith, I., Arbour, D.,
    Sinha, R., Kennedy, E. H. and Ramdas, A. (2024), Ann. Statist. 52, 2613 to 2640, equation for the asymptotic
    confidence sequence and its optimal ρ (from memory).
    """
    if not (standard_error > 0 and df > 0 and batches > 0 and tightest_at > 0):
        raise ValueError(
            "sequence_reach: standard_error, df, batches and tightest_at must be positive, got "
            f"{standard_error}, {df}, {batches}, {tightest_at}"
        )
    alpha = 1 - level
    rho_squared = (-2 * math.log(alpha) + math.log(-2 * math.log(alpha) + 1)) / tightest_at
    spread = batches * rho_squared
    normal_reach = math.sqrt((spread + 1) / spread * math.log((spread + 1) / alpha**2))
    return standard_error * _heavier_tail(normal_reach, df)


def _heavier_tail(z: float, df: float) -> float:
    """Return the t quantile that leaves out as much as the normal quantile ``z`` does."""
    return float(stats.t.isf(stats.norm.sf(z), df))
