"""Which way do scores on an ordered scale go?

The cumulative logit (proportional odds) mixed model: logit P(score ≤ k) = τ_k − (Xβ + Zb), so that a positive effect
goes with higher scores.

Source: McCullagh 1980, J. R. Statist. Soc. B 42, 109–142.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import pandas as pd

from analysis.models.arrays import CannotFitError, Floats, Ints
from analysis.models.families import Terms
from analysis.models.formula import parse_formula
from analysis.models.intervals import logistic_interval
from analysis.models.laplace_fit import LaplaceFit, fit_family, prepared

__all__ = ["CumulativeLogit", "ordinal_mixed"]


@dataclass(frozen=True)
class CumulativeLogit:
    """``category`` (n,) from 0 to K − 1; ψ is the first threshold and the logs of the steps to the next ones."""

    category: Ints
    count: int

    def start(self) -> tuple[float, Floats]:
        """The logits of the cumulative shares."""
        shares = np.cumsum(np.bincount(self.category, minlength=self.count))[:-1] / len(self.category)
        logits = np.log(shares / (1.0 - shares))
        return 0.0, np.concatenate([logits[:1], np.log(np.diff(logits))])

    def thresholds(self, own: Floats) -> Floats:
        """τ (K − 1,)."""
        return np.asarray(np.cumsum(np.concatenate([own[:1], np.exp(own[1:])])))

    def jacobian(self, own: Floats) -> Floats:
        """dτ/dψ (K − 1, K − 1)."""
        return np.asarray(np.tril(np.ones((len(own), len(own)))) * np.concatenate([[1.0], np.exp(own[1:])]))

    def terms(self, eta: Floats, own: Floats) -> Terms:
        """Log of the category's probability."""
        bounds = np.concatenate([[-np.inf], self.thresholds(own), [np.inf]])
        between = logistic_interval(bounds[self.category] - eta, bounds[self.category + 1] - eta)
        size = len(own)
        by_threshold = np.zeros((3, size, len(eta)))
        rows = np.arange(len(eta))
        above, below = self.category < size, self.category > 0
        by_threshold[:, self.category[above], rows[above]] = between.by_upper[:, above]
        by_threshold[:, self.category[below] - 1, rows[below]] += between.by_lower[:, below]
        by_own = self.jacobian(own).T @ by_threshold
        return Terms(between.log_probability, between.first, between.second, between.third, *by_own)


def ordinal_mixed(formula: str, frame: pd.DataFrame) -> LaplaceFit:
    """Fit a cumulative logit mixed model.

    Parameters
    ----------
    formula : str
        ``"score ~ temp + contact + (1|judge)"``. The response's categories are the levels of an ordered category, or
        its values in ascending order; those that no row has are left out. Thresholds take the intercept's place and
        stand in ``own``, named ``"low|high"``.

    Raises
    ------
    ValueError
        As ``mixed`` does.
    CannotFitError
        If there are fewer than two categories.
    """
    response = parse_formula(formula).response
    if response not in frame.columns:
        raise ValueError(f"ordinal_mixed: the response must be a column of the frame, got {response!r}")
    values = frame[response]
    ordered = (
        values.cat.categories if isinstance(values.dtype, pd.CategoricalDtype) else sorted(values.dropna().unique())
    )
    codes = pd.Series(pd.Categorical(values, categories=ordered).codes.astype(float), index=frame.index)
    data = prepared(formula, frame.assign(**{response: codes.where(codes >= 0)}), intercept=False)
    found, category = np.unique(data.rows.dense[:, -1].astype(np.int64), return_inverse=True)
    if len(found) < 2:
        raise CannotFitError(f"{response} has only one category among the complete rows")
    labels = [ordered[k] for k in found]
    family = CumulativeLogit(np.asarray(category, dtype=np.int64), len(found))
    names = tuple(f"{low}|{high}" for low, high in pairwise(labels))
    fit, solution = fit_family(data, family, "cumulative logit", names)
    p, shift = len(data.names), data.centre @ data.back
    turn = np.hstack([np.tile(shift, (len(names), 1)), family.jacobian(solution.own)])  # β, ψ → τ of the raw columns
    return replace(
        fit,
        own=family.thresholds(solution.own) + shift @ solution.beta,
        own_covariance=turn @ solution.covariance[: p + len(names), : p + len(names)] @ turn.T,
    )
