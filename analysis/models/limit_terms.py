"""What do a few limits say, of whose linear predictors the other rows foretell mean and covariance?

With η ~ N(μ, Σ) and each row's log probability a_i(η_i), the integral is taken at its mode: Σ a_i(η̂_i) − ½α'Σα −
½ log|I + ΣW|, α = Σ⁻¹(η̂ − μ) = a'(η̂), W = −a''. Exact rows being integrated out exactly, that is the Laplace
approximation over all the random effects.

Source: Rasmussen & Williams 2006, Gaussian Processes for Machine Learning, algorithm 3.1 and section 5.5.1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.families import Family, Terms

__all__ = ["LimitTerms", "limit_terms"]

_STEPS = 100
_HALVINGS = 30
_LEVEL = 1e-12  # what the last step gained: another would gain its square


@dataclass(frozen=True, eq=False)
class LimitTerms:
    """The log of the integral and its derivatives.

    ``eta`` (c,) is the mode and ``pull`` (c,) α; ``by_mean`` (c,) and ``by_covariance`` (c, c) the derivatives by μ
    and, symmetric, by Σ; ``by_own`` that by the family's parameter; ``bend`` (c, c) −∂α/∂μ, and ``pull_by_own`` (c,)
    ∂α by the family's parameter where Σ stands still.
    """

    value: float
    eta: Floats
    pull: Floats
    by_mean: Floats
    by_covariance: Floats
    by_own: float
    bend: Floats
    pull_by_own: Floats


def limit_terms(
    family: Family, mean: Floats, covariance: Floats, own: Floats, start: Floats | None = None
) -> LimitTerms:
    """Integrate a family of one parameter over linear predictors of this mean (c,) and covariance (c, c).

    Parameters
    ----------
    start : array, shape (c,)
        Where the search for α starts.

    Raises
    ------
    CannotFitError
        If there is no mode.
    """
    pull, eta, terms = _mode(family, mean, covariance, own, np.zeros(len(mean)) if start is None else start)
    weights = -terms.second
    inner = np.eye(len(mean)) + weights[:, None] * covariance
    inverse = np.linalg.inv(inner)
    bend = inverse * weights
    after = covariance @ inverse
    third = 0.5 * np.diagonal(after) * terms.third
    through = inverse @ third
    by_covariance = 0.5 * (np.outer(pull, pull) - bend + np.outer(pull, through) + np.outer(through, pull))
    by_own = terms.by_own[0].sum() + 0.5 * np.diagonal(after) @ terms.second_by_own[0]
    return LimitTerms(
        value=float(terms.log_density.sum() - 0.5 * pull @ (eta - mean) - 0.5 * np.linalg.slogdet(inner)[1]),
        eta=eta,
        pull=pull,
        by_mean=pull + through,
        by_covariance=0.5 * (by_covariance + by_covariance.T),
        by_own=float(by_own + terms.first_by_own[0] @ (after @ third)),
        bend=0.5 * (bend + bend.T),
        pull_by_own=inverse @ terms.first_by_own[0],
    )


def _mode(family: Family, mean: Floats, covariance: Floats, own: Floats, pull: Floats) -> tuple[Floats, Floats, Terms]:
    """α, η̂ and the terms there, by Newton's steps, halved where they overshoot."""
    eta = mean + covariance @ pull
    terms = family.terms(eta, own)
    best = terms.log_density.sum() - 0.5 * pull @ (eta - mean)
    for _ in range(_STEPS):
        weights = -terms.second
        inner = np.eye(len(mean)) + weights[:, None] * covariance
        step = np.linalg.solve(inner, weights * (eta - mean) + terms.first) - pull
        gain = float((terms.first - pull) @ (covariance @ step))
        for _ in range(_HALVINGS):
            eta = mean + covariance @ (pull + step)
            terms = family.terms(eta, own)
            value = terms.log_density.sum() - 0.5 * (pull + step) @ (eta - mean)
            if value >= best - 1e-13 * abs(best):
                break
            step = 0.5 * step
        pull, best = pull + step, value
        if gain < _LEVEL:
            return pull, eta, terms
    raise CannotFitError("the limits have no likeliest place among the other readings")
