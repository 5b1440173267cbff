"""How many batches would it take?

From the design's variance, never from the effect that was seen. Two figures: the batches to show, with the wished
power, that an effect is inside ±Δ when there is none (two one-sided tests), and to find it when it is Δ. The variance
is taken at the upper end of its one-sided 80 % interval, because a lucky first estimate would promise too much.

Sources: Schuirmann 1987, J. Pharmacokinet. Biopharm. 15, 657–680 (two one-sided tests); Phillips 1990, the same 18,
137–144 (their power, integrated over the variance here); Browne 1995, Statistics in Medicine 14, 1933–1940 (the upper
limit).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

__all__ = [
    "BatchesNeeded",
    "batches_needed",
    "difference_power",
    "equivalence_power",
    "parallel_groups",
    "upper_variance_factor",
]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)
_MOST = 200  # batches beyond which watching will not answer it
_SEARCHED = 1_000_000


@dataclass(frozen=True)
class BatchesNeeded:
    """Batches in all, those on record included, for each question; None where more than ``most`` more would be needed.

    ``more_equivalence`` and ``more_difference`` are those still to come, and ``advice`` says it in a sentence.
    """

    equivalence: int | None
    difference: int | None
    more_equivalence: int | None
    more_difference: int | None
    variance_factor: float
    advice: str


def equivalence_power(
    margin: float, standard_error: float, df: float, *, effect: float = 0.0, alpha: float = 0.05
) -> float:
    """The chance that two one-sided t tests at ``alpha`` both reject, the effect being ``effect``.

    Parameters
    ----------
    margin, standard_error, effect : float
        In one unit; the standard error is the true one.
    df : float
        Degrees of freedom of its estimate.
    """
    _check(margin, standard_error, df)
    t = float(special.stdtrit(df, 1.0 - alpha))
    widest = margin / (t * standard_error)  # s/σ beyond which no interval fits
    top = min(widest, float(np.sqrt(special.chdtri(df, 1e-14) / df)))
    ratio = 0.5 * top * (_NODES + 1.0)
    square = df * ratio**2
    half = 0.5 * df
    chi_squared = np.exp(special.xlogy(half - 1.0, 0.5 * square) - 0.5 * square - special.gammaln(half)) / 2.0
    density = 2.0 * df * ratio * chi_squared
    reach = margin / standard_error - t * ratio
    shift = effect / standard_error
    inside = special.ndtr(reach - shift) - special.ndtr(-reach - shift)
    return float(0.5 * top * (_WEIGHTS * density * inside).sum())


def difference_power(effect: float, standard_error: float, df: float, *, alpha: float = 0.05) -> float:
    """The chance that a two-sided t test at ``alpha`` finds an effect."""
    _check(abs(effect), standard_error, df)
    t = float(special.stdtrit(df, 1.0 - alpha / 2.0))
    away = effect / standard_error
    return float(1.0 - special.nctdtr(df, away, t) + special.nctdtr(df, away, -t))


def upper_variance_factor(df: float, confidence: float = 0.8) -> float:
    """What a variance estimated with ``df`` degrees of freedom is multiplied by for its one-sided upper limit."""
    if not df > 0:
        raise ValueError(f"df must be above 0, got {df}")
    return float(df / special.chdtri(df, confidence))


def parallel_groups(margin_over_sd: float, *, power: float = 0.8, alpha: float = 0.05) -> int:
    """The smallest number an arm that shows equivalence of two groups when they do not differ.

    Parameters
    ----------
    margin_over_sd : float
        The margin over the standard deviation within a group.
    """

    def reached(n: int) -> bool:
        return equivalence_power(margin_over_sd, np.sqrt(2.0 / n), 2.0 * n - 2.0, alpha=alpha) >= power

    found = _smallest(reached, 2, _SEARCHED)
    if found is None:
        raise ValueError(f"margin_over_sd must be large enough for {_SEARCHED} an arm, got {margin_over_sd}")
    return found


def batches_needed(
    margin: float,
    standard_error: float,
    df: float,
    batches: int,
    *,
    power: float = 0.8,
    alpha: float = 0.05,
    most: int = _MOST,
) -> BatchesNeeded:
    """How many batches would answer a question that so many have not.

    The standard error falls with the root of the number of batches and the degrees of freedom rise by one a batch: true
    of batches like those on record. More packs of one batch barely help.

    Parameters
    ----------
    margin : float
        Δ, in the effect's unit.
    standard_error, df : float
        Of the effect as estimated from ``batches`` batches; the effect itself is not asked for.
    most : int
        Further batches beyond which no number is given.
    """
    _check(margin, standard_error, df)
    factor = upper_variance_factor(df)
    one = standard_error * np.sqrt(factor * batches)
    lost = batches - df
    fewest = int(np.floor(lost)) + 2

    def shows(n: int) -> bool:
        return equivalence_power(margin, one / np.sqrt(n), n - lost, alpha=alpha) >= power

    def finds(n: int) -> bool:
        return difference_power(margin, one / np.sqrt(n), n - lost, alpha=alpha) >= power

    equivalence = _smallest(shows, max(fewest, 2), batches + most)
    difference = _smallest(finds, max(fewest, 2), batches + most)
    more = [None if total is None else max(total - batches, 0) for total in (equivalence, difference)]
    return BatchesNeeded(equivalence, difference, more[0], more[1], factor, _advice(more[0], more[1], most))


def _advice(equivalence: int | None, difference: int | None, most: int) -> str:
    if equivalence is None:
        return f"More than {most} further batches would be needed: watching will not answer it, a split batch would."
    if equivalence == 0:
        return "There are batches enough to show that there is no practical difference, if there is none."
    other = "no more" if difference == 0 else f"about {difference}"
    return (
        f"About {equivalence} more batches would show no practical difference if there is none, "
        f"{other} would find one as large as the margin."
    )


def _smallest(reached: Callable[[int], bool], fewest: int, most: int) -> int | None:
    """The smallest number from ``fewest`` to ``most`` that reaches the power, which rises with it."""
    if most < fewest or not reached(most):
        return None
    low, high = fewest, most
    while low < high:
        middle = (low + high) // 2
        low, high = (low, middle) if reached(middle) else (middle + 1, high)
    return low


def _check(margin: float, standard_error: float, df: float) -> None:
    if not (margin > 0 and standard_error > 0 and df > 0):
        raise ValueError(f"margin, standard_error and df must be above 0, got {margin}, {standard_error} and {df}")
