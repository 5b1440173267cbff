"""What is the likelihood of a mixed model whose rows are not Gaussian?

With η = Xβ + ZΛu and u standard normal, the integral over u is taken at its mode û (Laplace):
log L = Σ log f(y | η̂) − ½ û'û − ½ log|M|, M = ΛZ'WZΛ + I, W = −∂² log f/∂η² (Breslow & Clayton 1993, J. Am. Stat.
Assoc. 88, 9–25, equation 3; the gradient through û as in Kristensen et al. 2016, J. Stat. Softw. 70(5), section 2).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import OptimizeResult, minimize

from analysis.models.arrays import CannotFitError, Floats
from analysis.models.families import Family, Terms
from analysis.models.random_rows import Factored, RandomRows

__all__ = ["LaplaceSearch", "LaplaceSolution", "maximise"]

_INNER_STEPS = 100
_INNER_LEVEL = 1e-18
_LEAST_WEIGHT = 1e-12
_LEAST_THETA = 1e-5
_HESSIAN_STEP = 3e-4
_BEGUN_ANEW = 8
_FLAT = 1e-4  # slope, of a parameter of about unit size, that counts as flat against the log likelihood
_FURTHEST = 50.0  # ψ are logs and thresholds: beyond it nothing is finite


@dataclass(frozen=True)
class LaplaceSolution:
    """The maximum: φ = θ² (T,), β (p,), ψ (k,), the modes u, the covariance of (β, ψ) and the log likelihood."""

    phi: Floats
    beta: Floats
    own: Floats
    effects: Floats
    covariance: Floats
    log_likelihood: float
    eta: Floats
    converged: bool
    evaluations: int


class LaplaceSearch:
    """One data set: X (n, p), the random part's rows and the family; keeps the last mode as the next one's start."""

    def __init__(self, X: Floats, random: RandomRows, family: Family) -> None:
        self.X, self.random, self.family = X, random, family
        self.effects = np.zeros(random.total)
        self.evaluations = 0
        self.worst = -np.inf

    def split(self, vector: Floats) -> tuple[Floats, Floats, Floats]:
        """φ, β and ψ."""
        count, p = self.random.count, self.X.shape[1]
        return vector[:count], vector[count : count + p], vector[count + p :]

    def criterion(self, vector: Floats) -> tuple[float, Floats]:
        """−log L and its gradient by (φ, β, ψ)."""
        self.evaluations += 1
        phi, beta, own = self.split(vector)
        theta = np.maximum(np.sqrt(np.maximum(phi, 0.0)), _LEAST_THETA)
        fixed = self.X @ beta
        before = self.effects
        if np.abs(own).max(initial=0.0) > _FURTHEST and self.evaluations > 1:
            return self._too_far(vector, before)
        try:
            with np.errstate(all="ignore"):  # a step of the search may go where nothing is finite
                effects, terms, factored = self._mode(theta, fixed, own)
        except CannotFitError:
            if self.evaluations == 1:
                raise
            return self._too_far(vector, before)
        value = float(terms.log_density.sum() - 0.5 * effects @ effects - 0.5 * factored.log_det)
        if not np.isfinite(value):
            return self._too_far(vector, before)
        self.worst = max(self.worst, -value)
        return -value, -self._gradient(theta, effects, terms, factored)

    def _too_far(self, vector: Floats, effects: Floats) -> tuple[float, Floats]:
        """Somewhat worse than the worst seen, so that the search halves its step: a huge value would make it stop."""
        self.effects = effects
        return self.worst + 10.0 * (1.0 + abs(self.worst)), np.zeros_like(vector)

    def _mode(self, theta: Floats, fixed: Floats, own: Floats) -> tuple[Floats, Terms, Factored]:
        """Newton for the mode of u, halving steps that overshoot."""
        effects = self.effects
        eta = fixed + self.random.spread(theta, effects)
        terms = self.family.terms(eta, own)
        best = terms.log_density.sum() - 0.5 * effects @ effects
        factored = self._factored(theta, terms)
        for _ in range(_INNER_STEPS if self.random.count else 0):
            slope = self.random.gathered(theta, terms.first) - effects
            step = factored.solve(slope)
            gain = float(slope @ step)
            if gain < _INNER_LEVEL * (1.0 + abs(best)):
                break
            for _ in range(30):
                tried = effects + step
                eta = fixed + self.random.spread(theta, tried)
                terms = self.family.terms(eta, own)
                value = terms.log_density.sum() - 0.5 * tried @ tried
                if value >= best - 1e-13 * abs(best):
                    break
                step = 0.5 * step
            effects, best = tried, value
            factored = self._factored(theta, terms)
        self.effects = effects
        return effects, terms, factored

    def _factored(self, theta: Floats, terms: Terms) -> Factored:
        """M with the rows' weights; with those above 0 alone where a family that is not concave leaves no factor."""
        try:
            return self.random.factored(theta, -terms.second)
        except CannotFitError:
            return self.random.factored(theta, np.maximum(-terms.second, _LEAST_WEIGHT))

    def _gradient(self, theta: Floats, effects: Floats, terms: Terms, factored: Factored) -> Floats:
        leverage, left = self.random.leverages(theta, factored)
        through = 0.5 * leverage * terms.third
        moved = factored.solve(self.random.gathered(theta, through)) if self.random.count else np.zeros(0)
        adjoint = self.random.spread(theta, moved)
        of_rows = terms.first + through + adjoint * terms.second
        by_beta = self.X.T @ of_rows
        by_own = terms.by_own.sum(axis=1) + terms.second_by_own @ (0.5 * leverage) + terms.first_by_own @ adjoint
        by_theta = self.random.by_column(of_rows, effects) + self.random.by_column(terms.first, moved) - left / theta
        return np.concatenate([by_theta / (2.0 * theta), by_beta, by_own])


def maximise(X: Floats, random: RandomRows, family: Family, has_intercept: bool) -> LaplaceSolution:
    """Fit by L-BFGS-B from the family's start; the covariance is the inverse of the numerical information.

    Parameters
    ----------
    X : array, shape (n, p)
        Fixed columns, of about unit size; the first the constant where ``has_intercept``.
    """
    search = LaplaceSearch(X, random, family)
    intercept, own = family.start()
    beta = np.zeros(X.shape[1])
    if has_intercept:
        beta[0] = intercept
    variance = _scale(family, own)
    begin = np.concatenate([np.full(random.count, 0.1 * variance), beta, own])
    unit = np.concatenate([np.full(random.count, variance), np.full(len(beta), np.sqrt(variance)), np.ones(len(own))])
    vector, ended = _searched(search, begin, unit)
    value, _ = search.criterion(vector)
    phi, beta, own = search.split(vector)
    covariance = _covariance(search, vector)
    theta = np.maximum(np.sqrt(phi), _LEAST_THETA)
    eta = X @ beta + random.spread(theta, search.effects)
    return LaplaceSolution(phi, beta, own, search.effects, covariance, -value, eta, ended, search.evaluations)


def _searched(search: LaplaceSearch, begin: Floats, unit: Floats) -> tuple[Floats, bool]:
    """Search in parameters of about one size, ``unit`` (T + p + k,) each; begun anew where a line search gave up before
    the slope was flat. Returns the place, and whether the slope is flat there."""
    bounds = [(0.0, None)] * search.random.count + [(None, None)] * (len(begin) - search.random.count)
    options = {"ftol": 1e-15, "gtol": 1e-7, "maxiter": 1000, "maxcor": 30}

    def scaled(place: Floats) -> tuple[float, Floats]:
        value, slope = search.criterion(place * unit)
        return value, slope * unit

    place, value = begin / unit, np.inf
    for _ in range(_BEGUN_ANEW):
        found: OptimizeResult = minimize(  # type: ignore[call-overload]  # the stubs miss bounds open on one side
            scaled, place, jac=True, method="L-BFGS-B", bounds=bounds, options=options
        )
        place, gained, value = np.asarray(found.x), value - float(found.fun), float(found.fun)
        slope = np.where((place <= 0) & (np.arange(len(place)) < search.random.count), 0.0, np.asarray(found.jac))
        flat = float(np.abs(slope).max(initial=0.0)) < _FLAT * (1.0 + abs(value))
        if flat or gained <= 1e-12 * (1.0 + abs(value)):
            break
    return place * unit, flat


def _scale(family: Family, own: Floats) -> float:
    """The variance of a row in the units of η, where the family has one: the start of the random variances."""
    scale = getattr(family, "row_variance", None)
    return float(scale(own)) if scale is not None else 1.0


def _covariance(search: LaplaceSearch, vector: Floats) -> Floats:
    """Of (β, ψ), the variances that are not at 0 having been estimated with them."""
    count = search.random.count
    free = np.concatenate([vector[:count] > 1e-8, np.ones(len(vector) - count, dtype=bool)])
    places = np.flatnonzero(free)
    hessian = np.zeros((len(places), len(places)))
    for i, place in enumerate(places):
        step = _HESSIAN_STEP * max(abs(vector[place]), 0.1 if place >= count else vector[place])
        ahead, behind = vector.copy(), vector.copy()
        ahead[place] += step
        behind[place] -= step
        hessian[i] = (search.criterion(ahead)[1] - search.criterion(behind)[1])[places] / (2.0 * step)
    covariance = np.linalg.pinv(0.5 * (hessian + hessian.T), hermitian=True)
    random = int(free[:count].sum())
    return np.asarray(covariance[random:, random:])
