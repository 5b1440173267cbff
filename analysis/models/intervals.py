"""How likely is it that a value lies between two bounds, and how does that change with its mean?

One likelihood serves readings below a limit, above one, between two or exact, and the categories of a score: log of
F((upper − η)/σ) − F((lower − η)/σ), with F the normal or the logistic distribution.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import special

from analysis.models.arrays import Floats

__all__ = ["IntervalTerms", "logistic_interval", "normal_interval"]

_LEAST = -700.0  # log probabilities below it are taken for it


@dataclass(frozen=True)
class IntervalTerms:
    """A = log(F(b) − F(a)) and its derivatives along a shift of both bounds, −1, −2, −3 times, and those by a and b.

    ``first``, ``second``, ``third`` (n,) are by η for b = upper − η, a = lower − η; ``by_lower`` and ``by_upper``
    (3, n) are the derivatives of A, ``first`` and ``second`` by a and by b.
    """

    log_probability: Floats
    first: Floats
    second: Floats
    third: Floats
    by_lower: Floats
    by_upper: Floats


def normal_interval(lower: Floats, upper: Floats) -> IntervalTerms:
    """The standard normal between bounds (n,), infinite where a side is open."""
    return _interval(lower, upper, _normal_log_probability, _normal_density)


def logistic_interval(lower: Floats, upper: Floats) -> IntervalTerms:
    """The standard logistic between bounds (n,), infinite where a side is open."""
    return _interval(lower, upper, _logistic_log_probability, _logistic_density)


def _interval(
    lower: Floats,
    upper: Floats,
    log_probability: Callable[[Floats, Floats], Floats],
    density: Callable[[Floats], tuple[Floats, Floats, Floats]],
) -> IntervalTerms:
    flip = lower + upper > 0  # symmetric distributions: count from the nearer tail, where no digits are lost
    a, b = np.where(flip, -upper, lower), np.where(flip, -lower, upper)
    log_p = np.maximum(log_probability(a, b), _LEAST)
    (fa, fa1, fa2), (fb, fb1, fb2) = (_relative(density(x), log_p) for x in (a, b))
    n1, n2, n3 = fb - fa, fb1 - fa1, fb2 - fa2
    first, second = -n1, n2 - n1**2
    third = -(n3 - 3.0 * n1 * n2 + 2.0 * n1**3)
    by_b = np.stack([fb, -(fb1 - n1 * fb), fb2 - n2 * fb - 2.0 * n1 * (fb1 - n1 * fb)])
    by_a = np.stack([-fa, -(-fa1 + n1 * fa), -fa2 + n2 * fa - 2.0 * n1 * (-fa1 + n1 * fa)])
    sign = np.where(flip, -1.0, 1.0)
    turn = np.stack([sign, np.ones_like(sign), sign])  # a flip turns η, so odd derivatives change sign
    by_lower, by_upper = np.where(flip, by_b, by_a) * turn, np.where(flip, by_a, by_b) * turn
    return IntervalTerms(log_p, sign * first, second, sign * third, by_lower, by_upper)


def _relative(parts: tuple[Floats, Floats, Floats], log_p: Floats) -> tuple[Floats, Floats, Floats]:
    """The density and its derivatives over the probability."""
    log_f, slope, bend = parts
    ratio = np.exp(log_f - log_p)
    return ratio, ratio * slope, ratio * bend


def _normal_density(x: Floats) -> tuple[Floats, Floats, Floats]:
    """log f, f'/f and f''/f."""
    finite = np.where(np.isfinite(x), x, 0.0)
    log_f = np.where(np.isfinite(x), -0.5 * finite**2 - 0.5 * np.log(2.0 * np.pi), -np.inf)
    return log_f, -finite, finite**2 - 1.0


def _logistic_density(x: Floats) -> tuple[Floats, Floats, Floats]:
    below = special.expit(x)
    log_f = -np.logaddexp(0.0, -x) - np.logaddexp(0.0, x)
    return log_f, 1.0 - 2.0 * below, 1.0 - 6.0 * below + 6.0 * below**2


def _normal_log_probability(a: Floats, b: Floats) -> Floats:
    return _log_difference(special.log_ndtr(b), special.log_ndtr(a))


def _logistic_log_probability(a: Floats, b: Floats) -> Floats:
    return _log_difference(-np.logaddexp(0.0, -b), -np.logaddexp(0.0, -a))


def _log_difference(larger: Floats, smaller: Floats) -> Floats:
    """log(exp(larger) − exp(smaller))."""
    with np.errstate(divide="ignore"):
        return np.asarray(larger + np.log(-np.expm1(np.minimum(smaller - larger, 0.0))))
